"""What the resolved links must satisfy: names that exist, and no calibration that rests on itself.

A link to an earlier calibration cannot close a circle by itself. Only the links of touched uses
that do not point back in time are looked at, with everything they rest on.
"""

from __future__ import annotations

from collections.abc import Mapping

import networkx as nx

from api.services.recording import Recording
from api.store import links


def refuse_unknown_names(
    recording: Recording, first: int, places: Mapping[tuple[str, str, int], int]
) -> None:
    """Refuse uses of new certificates that name a certificate nobody recorded for that item."""
    for row in links.unresolved_names(recording.session, first):
        index = places[row.issuer, row.number, row.revision]
        named = row.named_certificate
        if row.named_revision is not None:
            named = f"{named} rev. {row.named_revision}"
        recording.dangling = True
        recording.refuse(
            recording.place("calibrations", index, "uses", row.position, "certificate"),
            f'no certificate "{named}" is recorded for item "{row.item}"',
            "record that certificate first, or mend the number and revision",
            named,
        )


def refuse_circle(recording: Recording, first: int) -> None:
    """Refuse a calibration that rests on itself through the links that were just resolved."""
    suspicious = links.links_not_back_in_time(recording.session, first)
    if not suspicious:
        return
    upward = nx.DiGraph(
        links.everything_upward(recording.session, {edge[0] for edge in suspicious})
    )
    try:
        circle = [edge[0] for edge in nx.find_cycle(upward)]
    except nx.NetworkXNoCycle:
        return
    names = links.numbers_of(recording.session, circle)
    shown = " rests on ".join(names[key] for key in [*circle, circle[0]])
    recording.refuse(
        "" if recording.single else "/calibrations",
        f"a calibration rests on itself: {shown}",
        "check the instants, or name the certificate whose value was used",
    )
