"""What fails only since a recall corrected it is answered by that recall, if it lists every use.

S-1 states -0.004 kN at 10 kN. REF was off by 0.0005, so that it is -0.004 - 0.0005 x 10 = -0.009,
beyond the 0.008 that guard_U leaves of 0.01 with U 0.002.
"""

from __future__ import annotations

from oracle_cases import answered, cal, force_fault, lab, ref, row

BY = {"by": "Quinn Assessor"}


def corrected(laboratory, *calibrations):
    """S-1 corrected by the recall of REF; return the alert that this raised."""
    kinds = dict.fromkeys(("I-1", "I-2"), "customer_instrument") | {"STD": "working_standard"}
    value = cal("S-1", "STD", "02-01", [ref("REF")], [row(error="-0.004")])
    laboratory.send("imports", lab(value, *calibrations, kinds=kinds))
    assert laboratory.open() == []
    laboratory.send("recalls", {"fault": force_fault("REF")})
    laboratory.send("recalls/1/revisions/S-1", BY)
    issue = answered({"issued_at": "2025-07-15T08:00:00Z"})
    laboratory.send("certificates/S-1/issue?revision=1", issue, 200)
    assert laboratory.open() == [("as_found", "STD failed as found in certificate S-1")]
    return laboratory.alert()


def test_the_recall_that_corrected_it_answers_it_and_a_second_look_goes_on_doing_so(laboratory):
    alert = corrected(laboratory, cal("C-1", "I-1", "03-01", [ref("STD")]))
    assert alert["covered_by"] == [{"recall": 1, "recall_number": "R-00001"}]
    assert laboratory.answer(recall=1)["state"] == "answered"
    # S-1 and C-1 as they stand now: revision 1 of S-1 is cleared, since it was corrected.
    laboratory.send("recalls", {"fault": force_fault("REF"), "previous": 1})
    assert laboratory.open() == []
    assert laboratory.alert()["covered_by"] == [{"recall": 2, "recall_number": "R-00002"}]


def test_it_answers_nothing_while_it_lists_not_every_use_around_the_failure(laboratory):
    # STD was used on a value that did not rest on REF: it may have been off then, too.
    before = (
        cal("S-0", "STD", "2024-12-01T10:00:00Z", []),
        cal("C-0", "I-2", "01-20", [ref("STD")]),
    )
    alert = corrected(laboratory, *before, cal("C-1", "I-1", "03-01", [ref("STD")]))
    assert alert["covered_by"] == []
    refused = laboratory.answer(status=422, recall=1)
    assert refused["errors"][0]["detail"].endswith("2025-01-20T10:00:00Z in C-0")
    laboratory.answer(recall=1, reason="and so", status=422)
    assert laboratory.answer(reason="C-0 was repeated")["state"] == "answered"


def test_a_late_use_that_it_does_not_list_opens_it_again(laboratory):
    corrected(laboratory, cal("C-1", "I-1", "03-01", [ref("STD")]))
    laboratory.answer(recall=1)
    laboratory.records("C-2", "I-2", "04-01", [ref("STD")])
    assert len(laboratory.open()) == 1
    assert "C-2" in laboratory.alert()["answers"][0]["lapsed"]
