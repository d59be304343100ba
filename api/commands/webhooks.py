"""Commands about webhooks that work on the database itself."""

from __future__ import annotations

import time

import click

from api.commands.local import opened
from api.commands.output import say


@click.group()
def webhooks() -> None:
    """Send changes to the webhooks that are registered."""


@webhooks.command("deliver")
@click.option(
    "--every",
    type=click.FloatRange(min=0.1),
    metavar="SECONDS",
    help="Go on until interrupted, looking again after so many seconds; default: once.",
)
def deliver(every: float | None) -> None:
    """Deliver what is due, signed, and record every answer; for a cron job or a service."""
    from api.services.feed import deliveries
    from api.settings import Settings

    to_private = Settings.is_yes(Settings.from_environment().webhooks_to_private)
    send = deliveries.sender(to_private)
    with opened() as database:
        while True:
            for one in deliveries.deliver(database, lambda: time.time_ns() // 1000, send):
                what = "delivered" if one.accepted else "refused, to be tried again"
                say(f"Delivery {one.delivery} to {one.url}: {what} ({one.said}).")
            if every is None:
                return
            time.sleep(every)
