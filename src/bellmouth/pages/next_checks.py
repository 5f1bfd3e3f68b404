"""Which of a finding's next checks are worth a person's time, and why the first stands first."""

from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import confirms, settled
from bellmouth.finding.result import Finding, NextCheck

__all__ = ["TELLS_BITS", "confirming", "worth_making"]

#: A check that is expected to tell less only confirms. [bit]
TELLS_BITS = 0.02


def worth_making(finding: Finding) -> tuple[NextCheck, ...]:
    """The next checks that tell something or would confirm the likeliest cause; and the first.

    What does neither is time lost, and may do harm: with a leak left, a relearned idle has learned
    the leak.
    """
    checks = finding.next_checks
    return (*checks[:1], *(one for one in checks[1:] if _tells(one) or _confirms(finding, one)))


def confirming(finding: Finding) -> bool:
    """Whether the next check stands first because it would confirm, and not for what it tells."""
    checks = finding.next_checks
    return bool(checks) and settled(checks) and _confirms(finding, checks[0])


def _tells(check: NextCheck) -> bool:
    return check.bits >= TELLS_BITS


def _confirms(finding: Finding, check: NextCheck) -> bool:
    return check.check in CHECKS and confirms(check, finding.causes[0].cause)
