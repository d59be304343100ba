"""Why is this certificate listed? One sentence for a reason path, read from the end to the fault.

Choice: the certificate is the subject, and each clause goes one calibration back, as a person asks.
The sentence says what the path says and no more; weights and effects stand in the entry.
"""

from __future__ import annotations

from collections.abc import Sequence

from graph.links import CERTIFICATE, CHANNEL, METHOD, METHOD_PREFIX
from graph.traces import Trace

# Faults of data, in which the item itself was sound.
OF_DATA = {
    "wrong_correction_factor": "for which a wrong correction factor was on file",
    "wrong_curve": "whose force was had from a wrong curve",
}


def sentence(trace: Trace) -> str:
    """Return a reason path as a sentence.

    Parameters
    ----------
    trace : Trace
        The path, taken apart.

    Returns
    -------
    str

    Examples
    --------
    >>> fault = {"item": "REF-100", "kind": "unknown"}
    >>> steps = (("W-202", "WS-20"), ("D-303", None))
    >>> sentence(Trace("item", "REF-100", fault, (), None, steps))
    'D-303 used WS-20, which had been calibrated (W-202) with the faulty REF-100.'
    """
    *before, (subject, _) = trace.steps
    if not before:
        return f"{subject} {_directly(trace)}."
    (number, item), held = before[-1], _within(trace, len(before) - 1)
    told = f"{subject} used {_held(held, item or '')}, which had been calibrated ({number}) "
    for place in reversed(range(len(before) - 1)):
        number, item = before[place]
        used = _held(_within(trace, place), item or "")
        told += f"with {used}, which had been calibrated ({number}) "
    return f"{told}{_by_what(trace)}."


def _within(trace: Trace, place: int) -> Sequence[str]:
    return trace.within[place] if trace.within else ()


def _directly(trace: Trace) -> str:
    if trace.concerns == METHOD:
        return f"was made by {_method(trace)}"
    return f"used {_origin(trace)}"


def _by_what(trace: Trace) -> str:
    return f"by {_method(trace)}" if trace.concerns == METHOD else f"with {_origin(trace)}"


def _method(trace: Trace) -> str:
    return f"the faulty method {trace.start.removeprefix(METHOD_PREFIX)}"


def _origin(trace: Trace) -> str:
    """What was used of the fault, or what held it."""
    if trace.concerns == CERTIFICATE:
        item, *above = trace.through
        return _held(above, f"{item} at the values of the wrong certificate {trace.start}")
    if trace.concerns == CHANNEL:
        channel, item = trace.fault["channel"], trace.fault["item"]
        return f"the faulty channel {channel} of {item} in the role {trace.role}"
    told = OF_DATA.get(trace.fault["kind"])
    faulty = f"the faulty {trace.start}" if told is None else f"{trace.start}, {told}"
    return _held(trace.through, faulty)


def _held(assemblies: Sequence[str], faulty: str) -> str:
    """The outermost assembly first, since that is what the calibration used."""
    if not assemblies:
        return faulty
    outer, *inner = reversed(assemblies)
    told = f"{outer}, which then held "
    return told + "".join(f"{one}, which held " for one in inner) + faulty
