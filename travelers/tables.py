"""The shop tables of this package: route rules, standard times, cautions, label formats, the shop's own facts."""

from __future__ import annotations

from fittings.tables import GAUGE, INCHES, SOURCE, Column, TableSchema, register
from travelers.reasons import DOWN
from travelers.routing import ANY, FORMS, MORE, ONE
from travelers.shop_facts import wrong_value
from travelers.state import HOLD, SCRAP

MEASURES = ("none", "cut_length", "stretch_out", "bend_length", "seam_length", "joint_length", "end_length")

register(
    TableSchema(
        "routes",
        "Route rules",
        "Which operations a fitting goes through, and how. Of the rules of an operation the first that fits is taken; "
        "an operation without one is left out.",
        (
            Column("operation", "Operation"),
            Column("kind", "Kind", help="* is any"),
            Column("material", "Material", help="* is any"),
            Column("gauge_from", "Gauge from", **GAUGE),
            Column("gauge_to", "Gauge to", **GAUGE),
            Column("end", "End finish", help="* is any; “worked” is an end that is not left raw"),
            Column(
                "form",
                "Form",
                choices=(ANY, *FORMS),
                may_be_empty=True,
                help="How the segment is formed: to a cylinder, to a cone, on the brake, left flat; * or empty is any",
            ),
            Column(
                "pieces",
                "Pieces",
                choices=(ANY, ONE, MORE),
                may_be_empty=True,
                help="Fittings of one segment or of more; * or empty is any",
            ),
            Column("method", "Method", help="“none” leaves the operation out"),
            SOURCE,
        ),
        once=("operation", "kind", "material", "gauge_from", "end", "form", "pieces"),
    )
)
register(
    TableSchema(
        "times",
        "Standard times",
        "Minutes of an operation: so many each, and so many a foot of what it works along.",
        (
            Column("operation", "Operation"),
            Column("method", "Method", help="* is any"),
            Column("minutes_each", "Minutes each", kind="number", low=0, high=1000),
            Column("minutes_per_foot", "Minutes a foot", kind="number", low=0, high=1000),
            Column("measure", "Feet of", choices=MEASURES),
            SOURCE,
        ),
        once=("operation", "method"),
    )
)
register(
    TableSchema(
        "cautions",
        "Cautions",
        "Bodily hazards by operation, on travelers and tablets. Local codes and the shop's safety program decide.",
        (
            Column("operation", "Operation"),
            Column("method", "Method", help="* is any"),
            Column("material", "Material", help="* is any"),
            Column("word", "Signal word", choices=("DANGER", "WARNING", "CAUTION")),
            Column("hazard", "Hazard"),
            Column("text", "What to do"),
            SOURCE,
        ),
    )
)
register(
    TableSchema(
        "reasons",
        "Reasons to hold, to scrap, of a station that is down",
        "What an operator chooses from, in this order. The record keeps the English words as they were chosen.",
        (
            Column("act", "Act", choices=(HOLD, SCRAP, DOWN)),
            Column("reason", "Reason", help="Short: it stands on a button"),
            Column("spanish", "Spanish", may_be_empty=True, help="For operators who read Spanish"),
            SOURCE,
        ),
        once=("act", "reason"),
    )
)
register(
    TableSchema(
        "labels",
        "Label sheets",
        "Label formats to print on. Sizes in inches.",
        (
            Column("name", "Name"),
            Column("page_width_in", "Page width", **INCHES),
            Column("page_height_in", "Page height", **INCHES),
            Column("columns", "Columns", kind="whole", low=1, high=20),
            Column("rows", "Rows", kind="whole", low=1, high=40),
            Column("width_in", "Label width", kind="number", low=1, high=20),
            Column("height_in", "Label height", kind="number", low=0.75, high=20),
            Column("left_in", "Left margin", **INCHES),
            Column("top_in", "Top margin", **INCHES),
            Column("pitch_x_in", "Column pitch", **INCHES),
            Column("pitch_y_in", "Row pitch", **INCHES),
            SOURCE,
        ),
        once=("name",),
    )
)
register(
    TableSchema(
        "shop",
        "The shop",
        "Name and address for papers, and choices of the house.",
        (
            Column("key", "Setting"),
            Column("value", "Value", may_be_empty=True),
            Column("note", "What it does", may_be_empty=True),
        ),
        once=("key",),
        wrong_row=wrong_value,
    )
)
