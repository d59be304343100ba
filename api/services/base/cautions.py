"""What is said wherever adapters, load limits or set-ups are spoken of; written once, here.

It imports nothing, so that a command can show it without loading the application.
"""

CAUTIONS: tuple[str, ...] = (
    "Force rigs injure people.",
    "Stay within the rated capacity of the weakest part, keep clear of the load line, follow local "
    "codes, and leave the judgement to a competent, authorised person.",
    "Tracehold never says that a set-up is safe; it says which checks it made and which it could "
    "not.",
)
CAUTION = " ".join(CAUTIONS)
