"""A small laboratory for the tests of alerts, and shorthands for what is asked of them.

Standard STD was calibrated on 10 January 2025 as S-1, due on 1 March. Results have U 0.002 kN and a
tolerance of 0.01 kN under guard_U, so that an error fails above 0.008 kN. That every failure asks
for an evaluation of earlier results, and that somebody decides about it by name, is ISO/IEC
17025:2017, 6.4.9 and 7.10.1 (from memory); that uses after the due date are treated alike is common
practice, no source.
"""

from __future__ import annotations

import json

from oracle_cases import answered, cal, lab, row

BY = {"by": "Quinn Assessor"}


def found(error: str, stage: str = "as_found", **more):
    return row("10", error, stage=stage, **more)


def check(name: str, result: str = "fail", at: str = "2025-02-10T12:00:00Z", item="STD", **more):
    return {"id": name, "item": item, "at": at, "result": result} | more


def first(*calibrations, **more):
    """The laboratory with S-1, the value of STD, and what else is recorded."""
    kinds = {"STD": "working_standard", "I-1": "customer_instrument", "I-2": "customer_instrument"}
    kinds |= {"I-3": "customer_instrument"} | more.pop("kinds", {})
    value = cal("S-1", "STD", "01-10", [], due_at="2025-03-01")
    return lab(value, *calibrations, kinds=kinds, **more)


class Laboratory:
    """Shorthands for what is asked of the alerts."""

    def __init__(self, client):
        self.client = client

    def send(self, path, body=None, status=201, method="POST"):
        answer = self.client.open(f"/v1/{path}", method=method, json=body)
        assert answer.status_code == status, answer.text
        return json.loads(answer.text)

    def read(self, path, status=200):
        return self.send(path, None, status, "GET")

    def brings(self, *calibrations, **more):
        """Import the laboratory with these."""
        self.send("imports", first(*calibrations, **more))
        return self

    def records(self, *arguments, **more):
        """Record one calibration by itself, on whatever ground."""
        return self.send("calibrations", answered(cal(*arguments, **more)))

    def alerts(self, **filters):
        query = "&".join(f"{name}={value}" for name, value in filters.items())
        return self.read(f"alerts?{query}")["items"]

    def open(self):
        """Kind and what happened of every open alert."""
        return [(one["kind"], one["says"]) for one in self.alerts(state="open")]

    def alert(self, key=1):
        return self.read(f"alerts/{key}")

    def answer(self, key=1, status=201, **answer):
        return self.send(f"alerts/{key}/answers", BY | answer, status)


def reported(laboratory, key=1, **changes):
    fault = laboratory.alert(key)["draft"]["fault"] | changes
    return laboratory.send("recalls", {"fault": fault})
