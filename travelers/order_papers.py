"""What an order's page shows of its papers and of what left: buttons, prints in the background, deliveries."""

from __future__ import annotations

from dataclasses import dataclass

from fittings.models import Order
from travelers.left_the_shop import left_unfinished
from travelers.models import Delivery
from travelers.print_runs import PrintState, is_large, runs_of
from travelers.shipping import Shipped, deliveries_of, shipped


@dataclass(frozen=True)
class OrderPapers:
    """`is_large`: travelers and labels are printed in the background.

    left_unfinished  codes of fittings on a delivery of which a late scan took work back
    """

    is_large: bool
    prints: tuple[PrintState, ...]
    shipped: Shipped
    deliveries: tuple[Delivery, ...]
    left_unfinished: tuple[str, ...]


def order_papers(order: Order) -> OrderPapers | None:
    """None before there is anything to print or to ship. The same few queries, whatever the order's size."""
    if not order.fittings_total:
        return None
    deliveries = tuple(deliveries_of(order))
    unfinished = left_unfinished().filter(order=order).order_by("pk").values_list("code", flat=True)
    return OrderPapers(
        is_large=is_large(order),
        prints=tuple(runs_of(order)),
        shipped=shipped(order),
        deliveries=deliveries,
        left_unfinished=tuple(unfinished) if deliveries else (),
    )


__all__ = ["OrderPapers", "order_papers"]
