"""The numbers of an invented 12-speed head, with no names and no chart."""

TABLE = """
[supply]
mains_hz = 50
[motor]
plate_rpm = 1440
[belts.V]
pulleys = "125/250 mm"
[levers.A]
1 = "38/38"
2 = "32/44"
3 = "25/51"
[levers.B]
1 = "43/41"
2 = "22/62"
[levers.C]
H = "61/31"
L = "18/74"
"""
