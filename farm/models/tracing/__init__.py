"""Recalls and drills. The rules of a recall, and why they are so.

- A recall is live, never closed by hand (`recall_list.py`): what was frozen at its opening, and
  whatever more its suspects reach since. `RecallLot` and `RecallStanding` are worked, by
  `relisting.keep_up` behind every action, so that the home page, a lot's page and each refusal
  read one row. All that is listed is on hold, whether some of it is here or may come back; a
  release with its reason takes a lot off the list, and its later uses with it. What a recall
  lists, and what an owner put on hold, an owner alone releases or lets be undone.
- Whoever got some stands on it (`contacts.py`): customers, places and reasons for giving away.
  Who got more since a call is told again; who could not be spoken to on two different days was
  tried.
- Told late: what happened before the hold is accepted with a reason (`guards`), also of lots that
  were born on hold, which are held since what they were made of was.
"""
