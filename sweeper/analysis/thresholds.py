"""From where on something counts, is believed or is said: every such number of the analysis, with its reason.

Numbers of methods (grids, iterations) stand where the method is. Where a fact of the trade has no standard, the reason
says "common practice".
"""

# Noise rise: antenna over load, in bypass where nothing else is said
RISE_OF_ANY_USE_DB = 0.05
"""Below, antenna and load are alike: what follows from the rise has no bound in decibels."""
CLEAR_RISE_DB = 0.5
"""Noise rise, in the better route, from which on external noise can be told from the chain's own."""
RISE_FOR_GAIN_DB = 1.0
"""Noise rise in bypass below which noise powers say too little about gain."""
RISE_FOR_OUTSIDE_NOISE_DB = 1.0
"""Usual noise rise from which on the receiver's own noise is taken off; below, too little would be left."""
SMALLEST_OUTSIDE_NOISE_DB = -10.0
"""Noise from outside this far below the load is not told from none, and must not count by its logarithm."""

# Readings that are none
TOUCHED_SHARE = 0.1
"""More than this share of passes on the meter's floor or top, and a mean over them is a bound and no value."""
FEW_ON_THE_FLOOR = 0.2
"""Share of nights that may touch the meter's floor or top before their mean is only a bound."""
LIFTED_DB = 1.0
"""What a load must read higher with the stage in, to stand off a floor that it lies on in bypass."""
OCCUPIED_CHANCE = 1e-4
"""How often pure noise may be taken for an occupied channel, a visit."""
STEADY_VISITS = 16.0
"""Visits at an hour, and as many elsewhere at its level, before scatter may tell of a carrier on a noise channel."""
STEADY_SHARE = 0.75
"""What is left of noise's squared scatter with a carrier as strong as the noise: (1 + 2c)/(1 + c)² at c = 1."""
STEADY_SE = 4.5
"""Standard errors by which scatter has to be too small: by chance once in 300 000, a look asks hundreds of times."""
CHANNELS_APART_DB = 1.5
"""Channels of a band nearer to each other than this are alike: no antenna and receiver is flat (common practice)."""
FELLOWS_WITHIN = 1.1
"""Channels whose frequencies have no greater ratio hear noise alike; a medium-wave band is too wide for that."""
NOISE_FALLS_DB = 28.6
"""How far noise from outside may fall with each tenfold frequency: man-made 27.7 to 28.6 dB (ITU-R P.372, Table 1)."""
CHANNELS_APART_CHANCE = 1e-5
"""How often chance may part two channels, an hour of a band."""
CARRIER_CLEAR_DB = 10.0
"""A carrier says something about gain where it stands this far above the noise of both routes together."""
EDGE_S = 0.7
"""Readings this near to a change of route share the fade: the fastest fades of short waves last for a second or so."""
EDGE_RATIO_S = 0.2
"""Ratios are told of quarters of a second: the last and the first of them share most of the fade."""
EDGE_GAP_S = 2.0
"""What a relay, its settling and the wires may take between the readings of an edge; later they are visits apart."""
LAG_CHANCE = 1e-3
"""Chance at which edges to the stage and edges back are said to differ, a band: the meter lags behind the relay..."""
LAG_DB = 0.5
"""... where it is more than this: a quarter of a decibel of the gain, and what is less is borne by the error."""
EMPTY_PASSES = 4
"""Passes over a carrier channel at an hour, before it is said to be empty."""
EMPTY_SHARE = 0.9
"""Share of them without a carrier, from which on it is: one that fades is missing in fewer (common practice)."""
STANDS_DB, GONE_DB = 6.0, 3.0
"""What is in a channel that measures no gain, over the noise of its band: from the one on a carrier stands there, below
the other none does."""
USELESS_DB = 60.0
"""An uncertainty no larger than this need be told apart."""

# What the meter's scale is
REAL_SLOPES = (0.5, 1.7)
"""Decibels that real meters show for a decibel: an S-unit of 3 to 10 dB where 6 are meant (measured receivers)."""
DEAD_SLOPE = 0.35
"""Scatter below this share of what must be there is that of a floor, a threshold or a knee."""
DEAD_SHARE = 0.1
"""Share of a band's readings at levels where the meter is dead, from which on nothing is said of the band."""
SLOPE_AS_GOOD_AS_ONE = 0.08
"""A slope this near to 1, or within its errors, is 1: it moves no S/N change by more than a third of a decibel."""
SLOPE_SE = 3.0
"""Standard errors by which a slope must differ: one level in 400 by mistake, for some ten levels."""
WORST_SLOPE_SE = 0.12
"""A slope less sure than this tests nothing."""
NEAR_TESTED_DB = 2.0
"""A level this near to those at which the slope was told is one of them: slopes do not jump."""
CARRIER_LEVELS = 0.98
"""Share of the levels of carriers up to which a gain by them has tested the scale: a bend above would hardly count."""
METER_CHANGE_SE = 5.0
"""Standard errors by which the scatter of nights must differ, at the clearest of many splits, for another meter."""
METER_CHANGE_SHARE = 0.15
"""Share by which it must: a smaller change of slope changes no S/N change by a decibel."""
COARSEST_STEPS = 2.5
"""A meter whose step exceeds so many standard deviations of a reading does not show how far readings scatter."""
FLOOR_VISITS = 3
"""Visits wanted at rest on the lowest value before it is a floor."""
FLOOR_SHARE = 0.2
"""Share of the visits that touch the lowest value which must rest on it."""

# Gain
WORST_GAIN_SE_DB = 3.0
"""A gain less sure than this says nothing that the rated one does not."""
GAINS_APART_DB = 0.5
"""Gains nearer than this to each other make no difference to a verdict of 1 dB, however sure they are."""
HOURS_APART_CHANCE = 1e-3
"""Chance at which the gain of an hour is said to be another than the band's: a band of a dozen hours in a hundred."""
FOLLOWS_SE = 3.0
"""Standard errors by which carriers must follow what noise says of the hours' gains, and may stray from it."""
GAINS_APART_CHANCE = 0.01
"""Chance at which gains by several methods are said to disagree: one band in a hundred by mistake."""
BEND_SPREAD_DB = 1.0
"""Standard deviation of the antenna's level from which on the difference bends enough over it: errors of the level
itself, a tenth of a decibel, then flatten the bend by one part in a hundred."""
BEND_SE_DB = 0.25
"""What stays uncertain of a gain by the bend: gains that drift with the noise by 0.05 dB/dB feign as much."""
NO_GAIN_DB = 1.0
"""A stage rated within this of 0 dB has no gain: a choke, a filter with little loss."""
RATED_GAIN_SE_DB = 1.5
"""Makers' gains hold to one or two dB, cables and relays not counted (common practice)."""
STAGE_STEP_DB = 1.0
"""A stage whose gain, or whose noise on the load, moves by this from one night on is another one: verdicts of 1 dB."""
NOISE_STEP_DB = 2.0
"""The same of what the stage does to the antenna's noise, which a change of that noise bends by a decibel or so."""
STAGE_STEP_CHANCE = 1e-4
"""Chance at which such a step is taken for one, all nights looked at: over a season's mornings one station in many."""
STAGE_STEP_JOINT = 0.01
"""The same of one band, where all bands together have stepped on that night: a contact is on no band alone."""

# What is wrong with a chain
ROUTES_APART_DB = 0.7
"""Both routes nearer than this do not change a verdict of 1 dB."""
ROUTES_APART_SE = 3.3
"""Standard errors between the direct route and the predicted one: one in 1000 by chance, for some twenty hours."""
EXCESS_DB = 0.7
"""Noise that rises this much more than carriers do matters; less would not change a verdict of 1 dB."""
EXCESS_SE = 3.3
"""Standard errors by which it must do so (one in 2000 by chance, for one of some twenty hours)."""
MOST_OF_A_NIGHT = 10.0
"""Times what is expected that one reading of one night may count for: one outlier makes no overload of a season."""
MOST_NOISE_FIGURE_DB = 60.0
"""No receiver for these bands is as deaf as this, attenuator in or not: a figure above is one of the calibration
(common practice)."""

# Verdicts
OFF_THE_CURVE_DB = 1.5
"""Direct measurement and curve further apart than this do not belong together."""
CONTRADICTS_CHANCE = 0.01
"""Chance at which a direct measurement outside what the noise rise allows is taken to contradict it."""
LITTLE_DB = 1.0
"""A change that cannot lie further than this from the worthwhile one: whoever chooses wrongly loses little."""

FRESH_DB = 0.3
"""A verdict whose interval has only just come clear of the worthwhile change, by no more than this. Whoever stops there
stops because chance helped: stages of less than `SMALL_DB` beyond it then read about `STOPPED_READS_DB` too good."""
SMALL_DB = 1.5
STOPPED_READS_DB = 0.3
"""From simulated campaigns with carriers alone, stopped at their first verdict; the truth benchmark counts it."""

FIVE_NIGHTS = 5
"""Nights from which on the noise rise alone bounds the change: fewer do not show how far quiet nights stray."""
A_WEEK = 7
"""Nights that hold working days and a weekend: before, a kind of night may be missing altogether."""
FLAT_DB = 0.5
"""S/N change this near to that of endless noise on every night: the curve is flat there and scatter shows nothing."""
USUAL_SPREAD_DB = 4.0
"""Night-to-night standard deviation of external noise: about the deciles of ITU-R P.372, Table 2."""
USUAL_SPREAD_DOF = 3.0
"""What that is worth beside nights measured: no more than three of them (common practice: deciles differ by place)."""
STATIONS_STRAY_DB = 3.0
"""What that is at a station of which nothing is known yet, hours taken by themselves: between the galaxy's 1.6 dB and
man-made noise's 6 dB (P.372, Table 2, deciles over 2.56)."""
STATIONS_STRAY_BY = 2.0
"""Factor by which stations differ in it, one standard deviation: from the one of those to the other."""
BANDS_STRAY_BY = 1.4
"""Factor by which the bands of a station differ in it, one standard deviation (common practice: P.372's deciles of
neighbouring bands and seasons mostly lie nearer)."""
QUIET_NIGHT_DB = 10.0
"""A quiet night lies this far below: a neighbour away, a source off (common practice; about two deciles of P.372)."""
STATIONS_WITH_QUIET_NIGHTS = 0.2
"""Share of stations believed to have a kind of nights so different (common practice)."""

HARDLY_MEASURED = 0.5
"""An hour with a smaller share of the passes that the band's usual hour has: cut off by the schedule's ends."""

# Nights and stations beside each other
ENOUGH_OF_A_KIND = 2
"""Weekday or weekend nights wanted on each side before the two kinds are matched separately."""
OUTLIER_MADS = 3.5
"""Modified z-score beyond which a value is called an outlier: Iglewicz and Hoaglin 1993 (from memory)."""
FEWEST_FOR_OUTLIERS = 5
"""With fewer stations the spread between them is not known well enough to call one of them odd."""
