"""What the shop does: plain functions whose first argument is a session."""

from pullbook.shop import indexing as indexing  # and found again
from pullbook.shop import keeping_count as keeping_count  # whoever writes through the shop is counted by it
from pullbook.shop import taking_turns as taking_turns  # before either holds what the other waits for
