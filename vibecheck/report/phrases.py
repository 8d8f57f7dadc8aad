"""The one phrase for every kind of fact, in a machinist's words.

How to write a fact: ``fact("knock_once_per_turn", part="62", rotor="III", ...)``. The table below
is the list of kinds; the fields of a phrase are the values its fact must carry, and the word after
the colon says of what sort (see :mod:`vibecheck.report.writers`)::

    part, rotor      str, a name from the gear table      parts      sequence of such names
    position, take   str                                  positions  sequence of lever positions
    hz, rpm, seconds float                                times      float, decibels (power)
    percent, shift   float, in per cent (4.88 = 4.88 %)   whole      int
    order            float, times a turn                  plain      str, printed as it stands
    number           float                                choices    sequence of str or pairs
    per_turn         mapping of position to float

Text in square brackets is left out when one of its values is not given. A wrong or missing value
raises, an unknown kind raises, and tests see to it that every kind used has a phrase.
"""

from __future__ import annotations

from collections.abc import Mapping

EVIDENCE: Mapping[str, str] = {
    "knock_once_per_turn": (
        "One knock a turn of {rotor:part}, heard at {heard:whole} of the {expected:whole} "
        "position(s) where {part:part} works[; counted against the spindle, {per_spindle_turn:"
        "per_turn}]."
    ),
    "stands_out": (
        "{part:part} stands {db:times} above what the other parts of this machine show[, at its "
        "strongest at {position:position}]."
    ),
    "silent_when_out_of_mesh": (
        "Nothing of it at the {count:whole} position(s) where {part:part} is out of mesh."
    ),
    "sidebands_at": (
        "The tooth tone of {mesh:part} swells and fades once a turn of {rotor:part}, {db:times} "
        "more than is usual for the pairs of this machine[, at {positions:positions}]."
    ),
    "one_turn_tone": (
        "A push once a turn of {rotor:part}[ that grows with speed to the power {growth:number} "
        "(imbalance: 2)][, {db:times} above its surroundings]."
    ),
    "one_speed": (
        "It is not heard at speeds different enough to show that the push of {rotor:part} grows "
        "with speed, as that of an imbalance does."
    ),
    "none_beside": (
        "No other shaft is heard to turn, so that nothing says how loud a sound one is here."
    ),
    "many_turn_tones": (
        "{count:whole} multiples of the turning of {rotor:part} stand out[, {halves:plain}], as "
        "from a part that is loose or knocks about."
    ),
    "half_turns": (
        "At {heard:whole} of {expected:whole} position(s) something comes and goes with half turns "
        "of {rotor:part}, as a part does that is loose or knocks about."
    ),
    "slow_blows_faint": (
        "Silent at {positions:positions}, where {rotor:part} turns slower than wherever it is "
        "heard: blows so slow may be too faint, and their silence clears nothing."
    ),
    "blows_unsteady": (
        "From turn to turn the blows come early or late, hard or hardly, at {count:whole} of the "
        "{of:whole} position(s) where single turns can be compared: a broken tooth is struck at "
        "one place, and alike."
    ),
    "shaft_shakes_with": (
        "Once a turn, {rotor:part} is {db:times} louder where {part:part} works than elsewhere."
    ),
    "gears_thrown": (
        "All gears heard of {rotor:part} swell and fade with it, each at least {db:times} more "
        "than the machine's other gears."
    ),
    "two_turn_tone": (
        "Twice a turn of {rotor:part}[, at {low_hz:hz} to {high_hz:hz},] is {db:times} against "
        "once a turn, as from a bent or misaligned shaft."
    ),
    "bearing_family": (
        "{lines:whole} tone(s) in step at {order:order} strikes a turn of its shaft: the "
        "{element:plain} rate of {bearing:part}[, {order_error:shift} off its sheet figure]"
        "[; its balls or rollers slip {slip:percent}]."
    ),
    "bearing_heard": (
        "Blows at {order:order} a turn of its shaft in {heard:whole} of {of:whole} take(s): the "
        "{element:plain} rate of {bearing:part}[, {order_error:shift} off its sheet figure]."
    ),
    "bearing_shallow": (
        "The sound swells by {depth:percent} with its blows. On a shaft this fast, or where other "
        "bearings are heard as well, sound ones may be heard so too."
    ),
    "bearing_expected": (
        "Blows at {low_hz:hz} to {high_hz:hz} in {heard:whole} of {of:whole} take(s), where the "
        "{element:plain} rate of {bearing:part} must lie; {rotor:part} itself is not heard to "
        "turn, and plates and pulleys give its speed, and so that rate, to {reach:percent}."
    ),
    "order_not_whole": (
        "{order:order} a turn is not a whole multiple of {rotor:part}, as every gear or chuck "
        "would be; the nearest whole multiple is {apart_hz:hz} away at {position:position}."
    ),
    "order_range": (
        "The rate lies at {order:order} strikes a turn of {rotor:part}, give or take {error:order}."
    ),
    "order_fits_size": (
        "A bearing of that size with {low:whole} to {high:whole} balls or rollers would strike "
        "{low_order:order} to {high_order:order} times a turn, and this lies inside."
    ),
    "table_withheld": (
        "No verdict on it, nor on what turns behind it at {positions:positions}, until its teeth "
        "are counted again."
    ),
    "race_open": (
        "Which race, or a roller, and which bearing of {rotor:part} it is, one family does not "
        "tell: its number, or bore, outside and a count of balls or rollers would."
    ),
    "sum_is_whole": (
        "Two families add up to {count:whole} strikes a turn, as the two races of one bearing "
        "with {count:whole} balls or rollers must."
    ),
    "belt_rate": (
        "A bump at {low_hz:hz}[ to {high_hz:hz}], the rate at which {belt:part} goes round."
    ),
    "belt_lump_short": (
        "It has multiples up to the eighth of {belt:part}'s rate, as something short has that "
        "passes the pulleys: a lump, or a splice."
    ),
    "belt_may_be_sound": "A sound belt, never quite even, may be heard so too.",
    "belt_throb": (
        "All else swells and fades at {low_hz:hz} to {high_hz:hz}, as often as {belt:part} goes "
        "round, at {heard:whole} of the {expected:whole} position(s)."
    ),
    "risen": (
        "{what:plain} of {part:part} stands {db:times} higher than when the machine was sound, "
        "over {count:whole} position(s)."
    ),
    "risen_element": (
        "The blows at the {element:plain} rate of {part:part} stand {db:times} higher than when "
        "sound, over {count:whole} position(s)."
    ),
    "risen_strange": (
        "Blows at {order:order} a turn of {rotor:part}, no whole number, stand {db:times} higher "
        "than when sound, over {count:whole} position(s)."
    ),
    "risen_hum": (
        "The hum at twice the mains stands {db:times} higher than when sound, over {count:whole} "
        "position(s)."
    ),
    "risen_buzz": (
        "Multiples of twice the mains, from the third up, stand {db:times} higher than when sound, "
        "over {count:whole} position(s)."
    ),
    "risen_tone": (
        "The tone at {hz:hz} stands {db:times} higher than when sound, over {count:whole} "
        "position(s)."
    ),
    "unmoved": (
        "Of {count:whole} other tones and knocks held against the baseline, 95 in 100 moved by "
        "less than {db:times}."
    ),
    "as_when_sound": "It was no less when the machine was sound.",
    "fixed_hz": ("It stays at {hz:hz} at {count:whole} position(s), wherever the levers stand."),
    "twice_mains": (
        "{hz:hz} is twice the mains frequency: a pull inside the motor or its supply, not "
        "something that turns."
    ),
    "pump_rate": "{hz:hz} is {vanes:whole} pulses a turn of {rotor:part}, as {part:part} makes.",
    "only_while_cutting": (
        "It is there while cutting[ at {hz:hz}] and gone in air[; background {db:times} lower]."
    ),
    "stops_at_power_off": "It is gone the moment the power is cut: it is electrical.",
    "glides_at_power_off": "It falls in pitch as the machine coasts down: it is mechanical.",
    "gone_in_neutral": "It is gone with lever {lever:plain} in neutral.",
    "still_in_neutral": (
        "It is still there with lever {lever:plain} in neutral: it lies before that lever."
    ),
    "gone_in_reverse": "It is gone in reverse, when the other side of the teeth carries.",
    "gone_with_machine_off": "{hz:hz} is not in the background take: the machine makes it.",
    "heard_with_motor_alone": "{hz:hz} is heard with the motor alone as well.",
    "gone_with_motor_alone": "{hz:hz} is gone with the motor alone.",
    "rings_when_tapped": (
        "The structure rings at {hz:hz} when tapped (damping {damping:percent} of critical)."
    ),
    "gone_with_chuck_off": "It is gone with the chuck off.",
    "same_in_reverse": "It is the same in reverse, so it is not one side of the teeth.",
    "same_everywhere": (
        "{parts:parts} sound the same at every position recorded; they cannot be told apart by "
        "these takes."
    ),
    "same_by_design": (
        "{parts:parts} sound the same at every position this machine has; no recording can part "
        "them."
    ),
    "family_found": (
        "{count:whole} tones {spacing_hz:hz} apart[, from {first_hz:hz}]: likely {nature:plain}."
    ),
    "tone_found": "A steady tone at {hz:hz}, {db:times} above its surroundings.",
    "tone_on_family": (
        "A tone at {hz:hz}, {db:times} above its surroundings, is {times:whole} times the "
        "{base_hz:hz} family: as many teeth, blades or bars on one shaft would make it."
    ),
    "family_moves": (
        "It moves from take to take, between {low_hz:hz} and {high_hz:hz}: it turns with "
        "something whose speed was changed."
    ),
    "one_take_only": (
        "This rests on one take; a tone in one take finds a name by chance about half the time."
    ),
}
"""Why: sentences of ``Finding.evidence``."""

RULED_OUT: Mapping[str, str] = {
    "not_in_mesh": (
        "{part:part}: out of mesh at {positions:positions}, where the sound is still there."
    ),
    "turns_elsewhere": (
        "{part:part}: turns with {rotor:part}, whose turns do not fit[ (that would be "
        "{would_hz:hz}, heard {heard_hz:hz})]."
    ),
    "silent_where_it_works": (
        "{part:part}: works at {positions:positions} too, where nothing of it is heard."
    ),
    "weaker_fit": (
        "{part:part}, {fault:plain}: explains the takes worse[, {odds:number} to 1 against]."
    ),
    "not_a_whole_multiple": "{part:part}: would be a whole multiple of {rotor:part}; this is not.",
    "rate_does_not_move": "{part:part}: would move with the levers; this stays where it is.",
    "still_there_without": "{part:part}: still heard with {without:plain}.",
    "named_by_chance": (
        "{part:part}: fits at {count:whole} of {of:whole} position(s) only, as chance would."
    ),
}
"""Which rivals fell, and why: sentences of ``Finding.ruled_out``."""

REMARKS: Mapping[str, str] = {
    "wrong_position": (
        "{take:take} is filed under {position:position} but sounds like {heard:position}."
    ),
    "position_found": "{take:take} names no position; it sounds like {heard:position}.",
    "position_not_found": (
        "{take:take} names no lever position and fits none well enough; it was set aside."
    ),
    "speed_differs": (
        "At {position:position} the chart says {chart_rpm:rpm}; the takes say {heard_rpm:rpm}."
    ),
    "stated_speed_wrong": (
        "{take:take}: {stated_rpm:rpm} was given; the sound says {heard_rpm:rpm}."
    ),
    "no_speed": (
        "{take:take}: the running speed could not be found, so nothing that depends on it is "
        "claimed from this take."
    ),
    "speed_drifts": "{take:take}: the speed changed by {percent:percent} during the take.",
    "take_too_short": "{take:take} lasts {seconds:seconds}; {needed_s:seconds} would do.",
    "clipped": (
        "{take:take} is clipped[ ({percent:percent} of its samples)]: turn the gain down and "
        "record it again."
    ),
    "too_quiet": "{take:take} is too quiet to hear the machine above the room or the recorder.",
    "processed": "{take:take}: {reason:plain}.",
    "aliased": (
        "{take:take}: nothing above {top_hz:hz} is real here, and lines below it may be false "
        "images of higher ones."
    ),
    "false_line": (
        "{take:take}: the line at {hz:hz} may be a false image of {true_hz:hz}; nothing turns at "
        "that rate."
    ),
    "take_set_aside": "{take:take} was not used: {reason:plain}.",
}
"""What a take was worth: sentences of ``TakeReport.remarks``."""

WARNINGS: Mapping[str, str] = {
    "table_wrong_pair": (
        "The table and the takes disagree[ by {percent:shift}] at {positions:positions} and "
        "nowhere else: a number of {pair:part} is wrong[. Counts that would fit: "
        "{candidates:choices}]. Nothing that rests on this pair is claimed until it is put right."
    ),
    "table_one_of_pairs": (
        "A tooth count of one of {parts:parts} is wrong; the sound does not tell which. Nothing "
        "that rests on them is claimed until they are counted again."
    ),
    "table_against_chart": (
        "The table and the speed chart disagree by {percent:shift} at {positions:positions} and "
        "nowhere else: a number of {pair:part} is wrong, or the chart is[. Counts that would fit "
        "the chart: {candidates:choices}]. Nothing that rests on this pair is claimed until that "
        "is settled."
    ),
    "scale_differs": ("Every speed is {percent:shift} off the table[: {likely_cause:plain}]."),
    "mains_by_plate": (
        "The motor's plate says {plate_rpm:rpm}, which needs mains of {needed_hz:hz}, and the "
        "speeds heard agree; the table says {stated_hz:hz}. Correct mains_hz in the table."
    ),
    "positions_missing": "Not recorded: {positions:positions}.",
    "few_positions": (
        "Only {count:whole} of {of:whole} positions were recorded; parts that differ elsewhere "
        "cannot be told apart."
    ),
    "no_table": (
        "Without a gear table no part can be named: these are the tones heard and what usually "
        "makes such tones."
    ),
    "teeth_heard": (
        "By ear {part:part} has {teeth:whole} teeth: chart and {count:whole} take(s) fit no other "
        "count. What follows rests on that; count them when the cover is off."
    ),
    "teeth_unknown": (
        "Tooth counts are not known for {parts:parts}; they are judged by which lever moves "
        "their tone."
    ),
    "bearing_unknown": "No numbers are known for {parts:parts}; a race cannot be named there.",
    "swapped": "{first:take} and {second:take} look exchanged.",
    "in_the_room": (
        "{take:take} has the tone at {hz:hz} with the machine stopped: it is the room's, and was "
        "left out."
    ),
    "no_speed_anywhere": "The running speed was found in none of the takes.",
    "table_does_not_fit": (
        "No common speed lays these takes on this table: it may be another machine's, or what was "
        "recorded may not be the gears."
    ),
    "baseline_heard": (
        "Held against a baseline, the machine when it was sound, at {count:whole} of {of:whole} "
        "position(s)."
    ),
    "baseline_lacks": (
        "At {positions:positions} the baseline has no take, or the speed of one of the two is in "
        "doubt; there the takes speak for themselves."
    ),
    "baseline_apart": (
        "The baseline has no take at any of these lever positions, or its speeds were not found; "
        "it was not used."
    ),
    "baseline_not_sound": (
        "The baseline itself sounds of {part:part}: {fault:plain}. What was wrong already cannot "
        "be told by what has risen."
    ),
    "modest_hum": (
        "A hum at {hz:hz}, twice the mains, in {heard:whole} of the {expected:whole} takes: it is "
        "electrical and turns with nothing. How much of it this motor always made, these takes do "
        "not say."
    ),
    "engine_note": "{text:plain}.",
}
"""What concerns the whole: sentences of ``Diagnosis.warnings``."""

TESTS: Mapping[str, str] = {
    "record_positions": "Record {positions:positions}, {seconds:seconds} each.",
    "record_longer": "Record {positions:positions} again for {seconds:seconds}.",
    "record_again": "Record {positions:positions} again[: {reason:plain}].",
    "record_background": "Record {seconds:seconds} with the machine switched off, nothing moved.",
    "check_table": "Check the table's entry for {part:part}[ ({candidates:choices} would fit)].",
    "measure_rpm": (
        "Measure the spindle speed at {positions:positions} with a tachometer and tape."
    ),
    "bearing_numbers": (
        "Find the number on {parts:parts}, or count its balls or rollers and measure bore and "
        "outside."
    ),
    "belt_off": "Record the motor alone, belts off and guard refitted.",
    "turn_chuck": "Remount the chuck half a turn round and record again.",
    "coast_down": (
        "Record {seconds:seconds} running, then cut the power and let it coast while recording: "
        "what stops at once is electrical."
    ),
    "idle_and_cutting": (
        "Record the same position once in air and once cutting[; then, with the machine stopped, "
        "a few taps on {tap:plain}]."
    ),
    "tap_test": "With the machine stopped, record a few taps on {what:plain}.",
    "change_overhang": "Cut with more and with less overhang: a howl that moves is the tool's.",
    "pulley_key": (
        "Locked out, try to rock {parts:parts}: key, grub screw, belt guard. It costs nothing."
    ),
    "inspect": "Look at {part:part}[ for {what:plain}].",
    "inspect_both": "Look at {parts:parts}: sound cannot part them.",
    "belt_look": "Locked out, look at {part:part} for a lump, a set or a worn spot; turn it round.",
    "motor_feet": "Check the motor's feet, run capacitor and phase voltages (a qualified person).",
    "dial_runout": "Locked out, put an indicator on {part:part} and turn by hand.",
    "gear_table": "Write a gear table (start from the commented one) and run this again.",
    "state_speed": "Give the running speed, even roughly.",
    "repeat_sweep": "Nothing to do now; keep this sweep and compare with it in a year.",
}
"""What to do next: sentences of ``next_test``; what each costs is in ``EFFORT``."""

PHRASES: Mapping[str, str] = {**EVIDENCE, **RULED_OUT, **REMARKS, **WARNINGS, **TESTS}

COVER_ON, COVER_OFF = "cover stays on", "cover off, locked out"
EFFORT: Mapping[str, tuple[str, str]] = {
    "record_positions": ("about a minute a position", COVER_ON),
    "record_longer": ("a few minutes", COVER_ON),
    "record_again": ("about a minute a position", COVER_ON),
    "record_background": ("1 minute", COVER_ON),
    "check_table": ("10 minutes; counting again takes half an hour", "cover off only to count"),
    "measure_rpm": ("5 minutes", COVER_ON),
    "bearing_numbers": ("10 minutes with the parts list", COVER_ON),
    "belt_off": ("20 minutes", "belt guard off to remove the belt, locked out, then refitted"),
    "turn_chuck": ("15 minutes", COVER_ON),
    "coast_down": ("2 minutes", COVER_ON),
    "idle_and_cutting": ("5 minutes", COVER_ON),
    "tap_test": ("5 minutes", COVER_ON),
    "change_overhang": ("10 minutes", COVER_ON),
    "pulley_key": ("5 minutes", "belt guard off, locked out"),
    "inspect": ("half an hour", COVER_OFF),
    "inspect_both": ("half an hour", COVER_OFF),
    "belt_look": ("10 minutes", "belt guard off, locked out"),
    "motor_feet": ("half an hour", COVER_ON),
    "dial_runout": ("15 minutes", COVER_OFF),
    "gear_table": ("an hour with the lever chart", "cover off only to count teeth"),
    "state_speed": ("1 minute", COVER_ON),
}
"""Next test -> how long it takes, and whether a cover comes off (judgement, from memory)."""

FAULT_SAID: Mapping[str, tuple[str, str]] = {
    "broken or damaged tooth": ("has", "a broken or damaged tooth"),
    "eccentric or worn gear": ("is", "eccentric or worn"),
    "gear worn or damaged": ("is", "eccentric or worn, or has a damaged tooth"),
    "gear worn, damaged or loose": (
        "is",
        "worn, has a damaged tooth or is loose on its shaft (which of them is not told)",
    ),
    "outer race": ("is", "damaged on its outer race"),
    "inner race": ("is", "damaged on its inner race"),
    "rolling element": ("has", "a damaged ball or roller"),
    "cage": ("has", "a damaged or worn cage"),
    "bearing worn, race not known": ("is", "worn or damaged (where in it is not known)"),
    "imbalance": ("is", "out of balance, or carries something that is"),
    "bent or misaligned": ("is", "bent or misaligned"),
    "loose on its shaft or in its seat": ("has", "something loose on it or is loose in its seat"),
    "shaft out of balance, bent or loose": (
        "is",
        "out of balance, bent or loose (which of them is not told)",
    ),
    "lumpy or set belt": ("is", "lumpy or has taken a set"),
    "mains hum": ("is", "the source of the hum: a pull inside the motor or its supply"),
    "fixed tone of structure or room": ("makes", "a tone that no shaft drives"),
    "chatter": ("makes", "the sound by itself while cutting (chatter)"),
    "pump pulsation": ("is", "the source of the pulsing"),
    "something not in the table": ("is", "heard that the table does not explain"),
    "heard, and by itself no fault": ("is", "heard, and by itself no fault"),
}
"""Fault -> verb and rest of a sentence that begins with the part."""
GEARS_SAID: Mapping[str, tuple[str, str]] = {
    "loose on its shaft or in its seat": ("is", "loose on its shaft"),
}
"""The same of gears, where it is another."""

OTHER_KIND: Mapping[str, tuple[str, str]] = {
    "broken or damaged tooth": ("something loose", "something on {} is loose"),
    "loose on its shaft or in its seat": ("a damaged tooth", "{} has a damaged tooth"),
}
"""Fault -> what parts of the other kind (shafts, gears) would have that knock alike: in a word, and
as a sentence about them."""
