"""The pages that record, of all subjects: imported where the addresses are, and nowhere else."""

from farm.pages.deeds import hand_in
from farm.pages.growing import actions as growing
from farm.pages.orders import actions as orders
from farm.pages.recording import actions as recording
from farm.pages.selling import actions as selling
from farm.pages.store import actions as store

SUBJECTS = (growing, orders, recording, selling, store)
DEEDS = hand_in(deed for subject in SUBJECTS for deed in subject.DEEDS)
