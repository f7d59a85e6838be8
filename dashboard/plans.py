"""Plans to begin from; a person edits the text before it is sent, and the daemon judges it."""

PLANS = {
    "Short look": """\
name = "short look"
[[phase]]
drive = "idle"
minutes = 1
[[phase]]
drive = "carrier"
minutes = 8
[[phase]]
drive = "off"
minutes = 1
""",
    "Evening soak": """\
name = "evening soak"
[[phase]]
drive = "off"
minutes = 2
[[phase]]
drive = "idle"
minutes = 3
[[phase]]
drive = "carrier"
minutes = 45
on_s = 60
off_s = 60
[[phase]]
drive = "idle"
minutes = 3
""",
    "Two hours": """\
name = "two hours"
[[phase]]
drive = "idle"
minutes = 3
[[phase]]
drive = "carrier"
minutes = 100
on_s = 90
off_s = 90
[[phase]]
drive = "off"
minutes = 14
[[phase]]
drive = "idle"
minutes = 3
[limits]
heatsink_c = 75.0
""",
}
