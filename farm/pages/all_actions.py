"""What all subjects hand in: the pages that record, the forms that may wait, the farm's lists.

Imported where the addresses are, and nowhere else, so that what is shared imports no subject.
"""

from farm.pages.day.wall_sheets import WALL_WAITS
from farm.pages.deeds import hand_in
from farm.pages.growing import actions as growing
from farm.pages.lookups.lookup_list import LISTS
from farm.pages.orders import actions as orders
from farm.pages.recording import actions as recording
from farm.pages.records.records import RECORD_WAITS
from farm.pages.retrying import WAITING_FORMS
from farm.pages.selling import actions as selling
from farm.pages.selling.tapping import TAP_WAITS
from farm.pages.store import actions as store
from farm.pages.store.counts import COUNT_WAITS
from farm.pages.store.in_store import SHELF_WAITS
from farm.pages.ways_out import LISTED

SUBJECTS = (growing, orders, recording, selling, store)
DEEDS = hand_in(deed for subject in SUBJECTS for deed in subject.DEEDS)
WAITING_FORMS[:] = (WALL_WAITS, SHELF_WAITS, COUNT_WAITS, TAP_WAITS, RECORD_WAITS)
LISTED.update(LISTS)
