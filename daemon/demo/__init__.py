"""A whole rack of twins over real links, with jobs soaked before. The only room of the daemon that knows the twin."""
