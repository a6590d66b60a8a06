"""A station left alone: `rig` (the instruments), `run` (passes), `live` (messages), `service` (the whole).

Beside them, what a person starts: `follow` sets the relay while somebody listens, `checkup` looks at the rig.
"""
