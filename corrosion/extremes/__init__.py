"""What was not seen: extreme-value statistics of the deepest pits."""

from corrosion.extremes.blocks import Block, Blocks, block_maxima
from corrosion.extremes.fit import (
    CONFIDENCE,
    LEAST_GEV,
    LEAST_GUMBEL,
    Fit,
    Law,
    fit_gev,
    fit_gumbel,
    gumbel_by_l_moments,
    gumbel_by_moments,
    log_likelihood,
    return_period,
)
from corrosion.extremes.goodness import (
    Goodness,
    Position,
    goodness_of,
    plotting_positions,
    reduced_variate,
)
from corrosion.extremes.sample import AT_LEAST, AT_MOST, EXACT, Sample
from corrosion.extremes.unseen import ASSUMPTION, Level, UnseenDepth, largest_unseen

__all__ = [
    "ASSUMPTION",
    "AT_LEAST",
    "AT_MOST",
    "CONFIDENCE",
    "EXACT",
    "LEAST_GEV",
    "LEAST_GUMBEL",
    "Block",
    "Blocks",
    "Fit",
    "Goodness",
    "Law",
    "Level",
    "Position",
    "Sample",
    "UnseenDepth",
    "block_maxima",
    "fit_gev",
    "fit_gumbel",
    "goodness_of",
    "gumbel_by_l_moments",
    "gumbel_by_moments",
    "largest_unseen",
    "log_likelihood",
    "plotting_positions",
    "reduced_variate",
    "return_period",
]
