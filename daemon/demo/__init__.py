"""The demo: a whole rack of twins over real links, with jobs that were soaked before. The only room that knows the twin."""
