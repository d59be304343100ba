"""Does a calibration name nothing in any role in which the faulty item served other records?

DESIGN section 10, reason `no_use_in_role`.
"""

from __future__ import annotations

from oracle_holding import use_node
from oracle_laboratory import Laboratory
from oracle_records import Certificate, Json

# Roles in which an item of a kind usually serves, asked for where the records name it nowhere.
USUAL_ROLES = {
    "adapter": ("adapter",),
    "adapter_part": ("adapter",),
    "readout": ("readout_reference", "readout_dut"),
    "environment_monitor": ("environment",),
    "software": ("software",),
}


def roles_of_fault(lab: Laboratory, fault: Json, item: str) -> set[str]:
    """Roles in which the records name the faulty item, or an assembly that then held it."""
    channel, found = fault.get("channel"), set()
    for certificate in lab.certificates:
        for use in certificate.uses:
            if channel is not None and use.channel not in (None, str(channel)):
                continue
            tree = use_node(lab, certificate, use)
            if use.role and any(node.item == item for node, *_ in tree.places()):
                found.add(use.role)
    if not found:
        found = set(USUAL_ROLES.get(lab.kinds.get(item) or "", ("force_reference",)))
    only = (fault.get("only") or {}).get("roles")
    return found if only is None else found & set(only)


def names_nothing(certificate: Certificate, fault: Json, item: str, roles: set[str]) -> bool:
    """True if the record names nothing in any of the roles, whenever it was.

    Not so for the faulty item's own calibrations, for those of another laboratory, which did not
    use what is ours, and for those that a limit of the fault to a mode or a direction leaves out.
    """
    if certificate.item == item or certificate.external or not roles:
        return False
    only = fault.get("only") or {}
    if only.get("mode") is not None and certificate.mode not in (None, only["mode"]):
        return False
    ways, rows = only.get("directions"), certificate.rows
    if ways is not None and rows and all(r.direction not in (None, *ways) for r in rows):
        return False
    return not any(use.role in roles for use in certificate.uses)
