"""What do the joints that were read say of those that were not?

They are drawn at random without putting back, so the bound is hypergeometric and exact.
"""

import math
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.guard import RISK
from flatcheck.language import say

PROOF = 0.99
"""The share of joints within that further readings are asked to prove."""


@dataclass(frozen=True)
class Sampling:
    """What the joints that were read say of all `joints` on the floor, if chosen at random.

    `read` were read and `bad` of them are not within. At most `most_bad` of all are not, at a
    confidence of 1 - RISK. `more` further joints, all within, would prove that PROOF of all are; 0
    where that is proven, None where no reading can.
    """

    joints: int
    read: int
    bad: int
    most_bad: int
    more: int | None

    @property
    def most_share(self) -> float:
        """The same as a share of all joints."""
        return self.most_bad / self.joints


def sampling(joints: int, read: int, bad: int) -> Sampling:
    """What do the joints that were read say of all of them?

    Drawing at random without putting back is hypergeometric, and the bound is exact: the largest
    number K of bad joints among all N for which P(at most `bad` among `read`) is still over RISK.

    Raises SurveyError where more were read than there are.
    """
    if read > joints:
        raise SurveyError(
            say(
                "{read:,} joints were read, and there are said to be {joints:,} on the floor.",
                read=read,
                joints=joints,
            )
        )
    more = more_to_show(joints, read, bad, PROOF)
    return Sampling(joints, read, bad, most_bad(joints, read, bad), more)


def more_to_show(joints: int, read: int, bad: int, share: float) -> int | None:
    """How many further joints, all within, would show that this share of all of them is.

    0 where that is shown already, None where no reading can show it.
    """
    few = math.floor((1 - share) * joints + 1e-9)
    if bad > few:
        return None
    low, high = read, joints  # reading all of them shows it
    while low < high:
        middle = (low + high) // 2
        if most_bad(joints, middle, bad) <= few:
            high = middle
        else:
            low = middle + 1
    return low - read


def most_bad(joints: int, read: int, bad: int) -> int:
    """The upper confidence bound of the number of bad joints, at 1 - RISK."""
    from scipy.stats import hypergeom  # slow to import, and most surveys read no steps

    low, high = bad, joints - (read - bad)
    while low < high:
        middle = (low + high + 1) // 2
        if float(hypergeom.cdf(bad, joints, middle, read)) > RISK:
            low = middle
        else:
            high = middle - 1
    return low
