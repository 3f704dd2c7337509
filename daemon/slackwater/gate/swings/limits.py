"""What a keeper calls a swing: sizes and times that all tests of a series share.

Floor 3. One subject: thresholds. Laws here: nothing smaller than these stops a tank,
however sure it is.
Units: meq/L, hours. Source: common practice, no source, tuned on invented series; the
unit from `water.spellings`.
"""

from slackwater.water.parameters import PARAMETERS
from slackwater.water.spellings import units_of

DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])
# A shift of this size is looked for: half of it is the slack of the sums.
SHIFT = 0.4 * DKH
# A range, and a level held, of this size are worth a vote and a verdict.
LEAST_RANGE = 0.4 * DKH
LEAST_SWING = 0.35 * DKH
# So near to the prediction a reading is good again.
GOOD = 0.2 * DKH
# No noise is nothing: the least that a probe is taken to resolve.
LEAST_RESOLUTION = 0.001 * DKH
# Noise below this is called a fault in no probe, however quiet it was.
LEAST_NOISE = 0.2 * DKH
# What a model of a whole tank leaves out, as a standard deviation.
MODEL_SD = 0.06 * DKH
# Where no cycle is known, one of 0.4 dKH from top to bottom may be there, as a standard
# deviation.
CYCLE_UNKNOWN = 0.14 * DKH
# The more doses and changes moved the water, the less is that known: by this part.
EXPLAINED_SHARE = 0.2
# A swing is something of the last day; what is older is a new level.
WINDOW_H = 24.0
# Water mixes, and clocks of people are off, by so much.
SETTLES_H = 1.0
