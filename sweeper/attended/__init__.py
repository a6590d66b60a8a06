"""An A/B test that somebody attends: sound comes in, the stage is switched by relay or by hand, the answer narrows.

`stays`, `by_hand`, `heard`, `session`, `view` and `advice` are pure; `listening` and `keys` touch the world, and
`at_station` borrows the rig.
"""
