"""The traceability graph: what rests on what, and what a fault does to it.

Imports nothing of the application: it is given records and answers with records. `Calibration`,
`Use` and `Point` are the records; a fault, such as `ForceError`, with its window is a
`SuspectWindow`; `assess` says which certificates it reaches and `mover` what becomes of each point.
`build` makes a networkx graph of a laboratory file, `affected_part` one of a stored recall, for
`graphml`, `prov_json`, `sentence` and every algorithm of networkx.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from graph.affected import (
        Identity,
        affected_part,
        graphml,
        identity,
        node_link,
    )
    from graph.exact import Exact, text
    from graph.explanation import sentence
    from graph.faults import (
        NO_EFFECT,
        UNKNOWN,
        Effect,
        EffectByType,
        Fault,
        ForceError,
        IndicatesHigh,
        LinearDrift,
        ReadoutGain,
        Segment,
        SegmentedForceError,
        UnknownEffect,
        WithinInterval,
        WrongCorrectionFactor,
        WrongCurve,
    )
    from graph.laboratory import BadLaboratory, build
    from graph.lists import (
        AFFECTED,
        CLEARED,
        EXPOSED,
        INDETERMINATE,
        LISTS,
        NOT_EXCLUDED,
        TRACED,
        Judgement,
        rank,
    )
    from graph.model import Calibration, Check, Holder, Holding, Point, Use, Window
    from graph.moments import BadMoment, Moment, instant_us, moment, text_of, time_zone
    from graph.narrowing import Considered, narrow
    from graph.parts import PartWithinItself, holders, refuse_part_within_itself
    from graph.paths import Reasons
    from graph.polynomials import AssignedCurve, CurveError
    from graph.provenance import RecallFacts, document, prov_json
    from graph.recall import assess
    from graph.shifts import Mover, Shifted, Span, mover
    from graph.suspects import CLEARED_REASONS, Exposure, SuspectWindow, expose
    from graph.traceability import CyclicTrace, in_order_of_dependence, reached
    from graph.traces import Trace, traced

__all__ = [
    "AFFECTED",
    "CLEARED",
    "CLEARED_REASONS",
    "EXPOSED",
    "INDETERMINATE",
    "LISTS",
    "NOT_EXCLUDED",
    "NO_EFFECT",
    "TRACED",
    "UNKNOWN",
    "AssignedCurve",
    "BadLaboratory",
    "BadMoment",
    "Calibration",
    "Check",
    "Considered",
    "CurveError",
    "CyclicTrace",
    "Effect",
    "EffectByType",
    "Exact",
    "Exposure",
    "Fault",
    "ForceError",
    "Holder",
    "Holding",
    "Identity",
    "IndicatesHigh",
    "Judgement",
    "LinearDrift",
    "Moment",
    "Mover",
    "PartWithinItself",
    "Point",
    "ReadoutGain",
    "Reasons",
    "RecallFacts",
    "Segment",
    "SegmentedForceError",
    "Shifted",
    "Span",
    "SuspectWindow",
    "Trace",
    "UnknownEffect",
    "Use",
    "Window",
    "WithinInterval",
    "WrongCorrectionFactor",
    "WrongCurve",
    "affected_part",
    "assess",
    "build",
    "document",
    "expose",
    "graphml",
    "holders",
    "identity",
    "in_order_of_dependence",
    "instant_us",
    "moment",
    "mover",
    "narrow",
    "node_link",
    "prov_json",
    "rank",
    "reached",
    "refuse_part_within_itself",
    "sentence",
    "text",
    "text_of",
    "time_zone",
    "traced",
]

_MODULES = {
    "moments": "BadMoment Moment instant_us moment text_of time_zone",
    "exact": "Exact text",
    "laboratory": "BadLaboratory build",
    "model": "Calibration Check Holder Holding Point Use Window",
    "faults": (
        "Effect EffectByType Fault ForceError IndicatesHigh LinearDrift NO_EFFECT ReadoutGain "
        "Segment SegmentedForceError UNKNOWN UnknownEffect WithinInterval WrongCorrectionFactor "
        "WrongCurve"
    ),
    "parts": "PartWithinItself holders refuse_part_within_itself",
    "narrowing": "Considered narrow",
    "suspects": "CLEARED_REASONS Exposure SuspectWindow expose",
    "paths": "Reasons",
    "polynomials": "AssignedCurve CurveError",
    "lists": "AFFECTED CLEARED EXPOSED INDETERMINATE Judgement LISTS NOT_EXCLUDED TRACED rank",
    "recall": "assess",
    "traceability": "CyclicTrace in_order_of_dependence reached",
    "shifts": "Mover Shifted Span mover",
    "affected": "Identity affected_part graphml identity node_link",
    "traces": "Trace traced",
    "provenance": "RecallFacts document prov_json",
    "explanation": "sentence",
}
_MODULE_OF = {name: module for module, names in _MODULES.items() for name in names.split()}


if not TYPE_CHECKING:  # where types are checked, the imports above are all there is
    # Names are imported when they are first asked for: a first list, which must come at once,
    # needs neither the walk nor networkx.
    def __getattr__(name: str) -> Any:
        if name not in _MODULE_OF:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        found = globals()[name] = getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
        return found

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
