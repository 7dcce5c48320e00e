"""WHEN and HOW LONG: the timetable of a day, the sun, and what sensors change of it. Pure."""
