"""What the resolved links must satisfy: names that exist, and no calibration that rests on itself.

Links that were resolved anew either start or end at a new (or changed) certificate, so that a new
circle passes through one of them. Every circle also holds a link that does not point back in time.
The search starts from whichever of the two are fewer and looks at everything they rest on.
"""

from __future__ import annotations

from collections.abc import Iterable

from api.services.base.recording import Recording
from api.store import link_checks
from graph.circles import circle, way_round

# To look at every link for one that points forward in time takes as long as to walk up from some
# ten thousand new certificates in a small store, and ever longer as it grows.
FEW = 20_000


def refuse_unknown_names(recording: Recording, first: int) -> None:
    """Refuse uses of new certificates that name a certificate nobody recorded for that item."""
    for row in link_checks.unresolved_names(recording.session, first):
        identity = (row.issuer, row.number, row.revision)
        number = recording.number_of("calibrations", identity)
        named = row.named_certificate
        if row.named_revision is not None:
            named = f"{named} rev. {row.named_revision}"
        recording.lacks(
            "certificates",
            named,
            recording.place_of("calibrations", number, "uses", row.position, "certificate"),
            f'no certificate "{named}" is recorded for item "{row.item}"',
            "record that certificate first, or mend the number and revision",
        )


def refuse_new_circle(recording: Recording, first: int) -> None:
    """Refuse a calibration that rests on itself since certificates from this key on are there."""
    starts = link_checks.certificates_from(recording.session, first)
    if len(starts) > FEW:
        starts = link_checks.not_back_in_time(recording.session)
    refuse_circle(recording, starts)


def refuse_circle(recording: Recording, starts: Iterable[int]) -> None:
    """Refuse a circle among these certificates and what they rest on."""
    found = circle(link_checks.everything_upward(recording.session, starts))
    if found is None:
        return
    names = link_checks.numbers_of(recording.session, found)
    shown = way_round(found, names)
    recording.refuse(
        "" if recording.single else "/calibrations",
        f"a calibration rests on itself: {shown}",
        "check the instants, or name the certificate whose value was used",
    )
