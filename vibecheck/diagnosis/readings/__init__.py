"""What every take says about each part: one kind of reading a file, nobody suspected yet."""
