"""How one certificate came to rest on another: the words of the graph, without the graph itself.

A first list, which must come at once, speaks of links too and never makes a graph; so these names
stand apart from `graph.traceability`, which loads networkx.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from graph.exact import text
from graph.model import ONE, Use

Path = tuple[str, ...]
# Kinds of nodes.
CERTIFICATE, ITEM, CHANNEL, METHOD, FAULT = "certificate", "item", "channel", "method", "fault"
# Kinds of edges.
ASSIGNED, HELD, USED, CONFIRMED, MAY = "assigned", "held", "used", "confirmed", "may"
METHOD_PREFIX = "method:"


class Origin(NamedTuple):
    """What a fault is about, as the node from which everything that it reaches can be reached.

    Parameters
    ----------
    start : str
        The name with which its paths begin.
    concerns : str
        "item", "channel", "method" or "certificate".
    channel : str or None
        The faulty channel.
    """

    start: str
    concerns: str
    channel: str | None = None


class State(NamedTuple):
    """An item as something left it, or what held it then.

    Parameters
    ----------
    chain : tuple of str
        The item, then whatever held it, up to the assembly that is meant.
    source : int, Origin or None
        The key of the certificate whose value the item carried, or what was faulty about it.
    channel : str or None
        Which of its channels.
    """

    chain: Path
    source: int | Origin | None
    channel: str | None = None


class Link(NamedTuple):
    """One way in which a certificate is reached: the last stretch of its reason paths.

    Parameters
    ----------
    fault : int
        Which of the faults of the question, from 0.
    cause : int or None
        Key of the certificate that leads to it; None where it met the fault itself.
    names : tuple of str
        What its paths name on this stretch: the item used after what it held, from the part
        upwards; where it met the fault itself, all that stands before the certificate.
    use : int or None
        Which of the uses of the calibration it was, from 0; None where no use is recorded.
    """

    fault: int
    cause: int | None
    names: Path
    use: int | None


def is_channel(names: Sequence[str], fault: Mapping[str, Any]) -> bool:
    """Say whether a path of a fault begins with its channel and the role in which that was used.

    Through what holds it a faulty channel is a part like any other: such a path names the item.

    Parameters
    ----------
    names : sequence of str
        What the path begins with.
    fault : mapping
        As it was reported.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_channel(("IND:A", "readout_dut"), {"item": "IND", "channel": "A"})
    True
    """
    channel = fault.get("channel")
    return channel is not None and names[0] == f"{fault['item']}:{channel}"


def recorded(use: Use) -> dict[str, Any]:
    """Return what is told of a use on the edge from what was used to the certificate.

    Parameters
    ----------
    use : Use
        As it was recorded.

    Returns
    -------
    dict
        `role`; `at_us`, its instant in microseconds since 1970 (and `end_us`, the last one of a
        bare date); `weight` as text, or such texts by point; `channel` if one is recorded.

    Examples
    --------
    >>> from graph.moments import Moment
    >>> recorded(Use("REF", "force_reference", Moment(5, 5)))
    {'role': 'force_reference', 'at_us': 5, 'weight': '1'}
    """
    told: dict[str, Any] = {"role": use.role, "at_us": use.at.start_us}
    if use.at.date_only:
        told["end_us"] = use.at.end_us
    weight = use.weight
    if weight is ONE:
        told["weight"] = "1"
    elif isinstance(weight, Mapping):
        told["weight"] = {point: text(share) for point, share in weight.items()}
    else:
        told["weight"] = text(weight)
    if use.channel is not None:
        told["channel"] = use.channel
    return told
