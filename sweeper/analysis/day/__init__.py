"""From a day's readings to its summary: visits, passes, hours. Knows one day at a time."""
