"""The numbers that makers of moves share with the kernel that follows them; see ``walked.walk_flips``."""

__all__ = [
    "ASIDE", "CONTENT", "DELIVERED", "EVENT", "EVENT_AT", "FAULT", "FAULT_AT", "INDEX", "INDEX_AT", "LENGTH",
    "LENGTH_AT", "NOWHERE", "OTHER_END", "SUM", "TARGET", "TOUCHED", "UNDETECTED", "UNSEEN", "VALUE", "VALUES",
    "VALUE_AT", "XOR",
]  # fmt: skip

# A move is one word: the next state and what happens; widths in bits, lowest first.
TARGET, FAULT, EVENT, INDEX, LENGTH, VALUE = 18, 6, 6, 16, 4, 10
FAULT_AT, EVENT_AT = TARGET, TARGET + FAULT
INDEX_AT = EVENT_AT + EVENT
LENGTH_AT = INDEX_AT + INDEX
VALUE_AT = LENGTH_AT + LENGTH
NOWHERE = (1 << TARGET) - 1  #: the state of a receiver that left the frame

XOR, SUM, VALUES = 0, 1, 2  #: kinds of tests
CONTENT, TOUCHED = 1, 2  #: what a read bit is: content of the frame, something that a rule may look at
DELIVERED, UNSEEN, UNDETECTED, OTHER_END, ASIDE = 0, 1, 2, 3, 4  #: fates
