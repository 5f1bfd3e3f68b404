"""The finding as one JSON document: the contract that other programs read."""

import json
import math
from typing import Any

from bellmouth import __version__
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.result import Finding, OfFamily, Size

__all__ = ["finding_document", "proof_document", "to_json"]

Document = dict[str, Any]


def _plain(value: Any) -> Any:
    """The same value with every NaN and infinity, which JSON does not have, as ``None``."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool | int | str) or value is None:
        return value
    number = float(value)
    return number if math.isfinite(number) else None


def _size(size: Size) -> Document:
    return {"value": size.value, "low": size.low, "high": size.high, "unit": size.unit}


def _family(told: OfFamily | None) -> Document:
    """The engine family, where one was told of."""
    return {} if told is None else {"family": vars(told)}


def finding_document(finding: Finding) -> Document:
    """A finding as plain data, key by key as ``docs/finding.schema.json`` describes it.

    ``low`` and ``high`` of a size bound 90 %. Numbers that are not finite become ``None``.
    """
    document: Document = {
        "causes": [
            {
                "cause": entry.cause,
                "probability": entry.probability,
                "sizes": {name: _size(size) for name, size in entry.sizes.items()},
                "confusable_with": list(entry.confusable_with),
            }
            for entry in finding.causes
        ],
        "prior": dict(finding.prior),
        "present": dict(finding.present),
        "next_checks": [
            {
                "check": check.check,
                "bits": check.bits,
                "minutes": check.minutes,
                "why": check.why,
                "how": check.how,
                "outcomes": list(check.outcomes),
                "caution": check.caution,
                "made": check.made,
            }
            for check in finding.next_checks
        ],
        "evidence": [
            {"what": item.what, "strength": item.strength, "readings": list(item.readings)}
            for item in finding.evidence
        ],
        "excluded": list(finding.excluded),
        "warnings": list(finding.warnings),
        "misfit": finding.misfit,
        "complaint": finding.complaint,
        **_family(finding.family),
        **({"disagreeing": dict(finding.disagreeing)} if finding.disagreeing else {}),
        "software": {"name": "bellmouth", "version": __version__},
    }
    plain: Document = _plain(document)
    return plain


def proof_document(proof: Proof) -> Document:
    """A proof as plain data, key by key as ``docs/proof.schema.json`` describes it."""
    leak = proof.new_leak
    document: Document = {
        "verdict": proof.verdict,
        "probability": proof.probability,
        "outcomes": dict(proof.outcomes),
        "mended": proof.mended,
        "nothing_new": proof.nothing_new,
        "changes": [
            {
                "cause": change.cause,
                "before": _size(change.before),
                "after": _size(change.after),
                "change": _size(change.change),
                "present_before": change.present_before,
                "present_after": change.present_after,
            }
            for change in proof.changes
        ],
        "learning": {"taken": proof.learning_taken, "why": list(proof.learning)},
        "new_leak": {
            "probability": leak.probability,
            "size": _size(leak.size) if leak.size else None,
            "expected": leak.expected,
        },
        "needs": [{"what": need.what, "why": need.why} for need in proof.needs],
        "courses": dict(proof.courses),
        "present_before": dict(proof.before),
        "present_after": dict(proof.after),
        "warnings": list(proof.warnings),
        "misfit": proof.misfit,
        **_family(proof.family),
        "software": {"name": "bellmouth", "version": __version__},
    }
    plain: Document = _plain(document)
    return plain


def to_json(document: Document) -> str:
    """A document as JSON text; anything JSON cannot hold becomes ``null`` first."""
    text = json.dumps(_plain(document), indent=2, ensure_ascii=False, allow_nan=False)
    # Half a sign, as of a file name that is no UTF-8, has its escape: no terminal could print it.
    return text.encode("utf-8", "backslashreplace").decode()
