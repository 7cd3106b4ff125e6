"""Entries: recorded, read back, corrected; what waits on a phone or to be sorted out.

Every form that the index offers is kept on the phone (`kept_pages.py`, `static/farm/worker.js`)
and waits there (`queue.js`) until it is sent to its own view, which answers in JSON
(`from_phone.py`): entered, or kept under To sort out.

- Only pages that carry `Ledger-Keep` are kept, and no price stands on one but a seller's own
  (`without_money`). A page that names customers is kept for those alone who may read the names
  anyway, and says until when it is shown (`may_be_kept`): the round of today and tomorrow with
  what is late, the customers of a place that is sold to, the newest sales. What the site
  answered, and what was typed, is shown to who made it alone: a phone is passed round.
- Few pages serve all, and small ones: they carry no index, as nothing of it opens without a
  signal; a form with a first step is kept once for each row that can be chosen, and open to any
  number, lot or sale (`?product=3&packs=`). `kept.js` then shares out what is drawn as the server
  does, and a quantity is read in its lot's unit once it is sent. A stop of the round is a page,
  and no two are offered the same packs (`suggested(before=…)`).
- A form of many rows waits as one (`row_by_row.py`: a wall sheet, a shelf that is weighed in):
  its rows are entered one by one, and what is left of it is kept under To sort out. A lot that
  left the shelf meanwhile keeps its row.
- A room is counted blind, since what the book says would be of the last visit. What was found is
  held against what its lots held when the count was kept on the phone (`held_at`), so that what
  was sold before it arrived is no difference. So is a weighing, by its own time (`held_when`),
  and it is refused once a later one stands.
- A photo is added on the page of what waits, stands in a store of its own (a full phone keeps the
  entry), and is sent behind its form to `/photos/`, which finds what the form became by its
  number. A count takes none: it becomes no entry.
- A file: what waits can be taken away, a form a line, and handed in by whoever typed it
  (`hand_in.js`): it joins the queue, so that it goes through the same door under the same number.
- Times: what a phone's clock said stands in `PhoneForm`, and no time is put right by itself.
"""
