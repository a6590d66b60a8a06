"""The rig in the hands of this program: opened, locked, restored, and its relays' life counted. Knows no schedule."""
