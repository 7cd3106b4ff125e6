"""Prices, tax, the stall. The rules of a market day, and why they are so.

- The count rules, the taps explain. What came back is counted and sets what was sold; taps at the
  till only fill the form in and say what was given away or sold for less. A tap that comes late,
  from a phone without signal, is kept and changes no book.
- Given away is lost, not sold: its own entry with its reason (`give away`), so that samples carry
  their cost out and nothing into takings; the entries of a day are taken back with its settling.
- What should be in the till is worked, never kept: a corrected sale moves it. A second count is a
  new row; card fees follow it as a difference.
- Counted by product, a return is put on the newest lots; the entry names the lots counted
  together, and a recall takes any of them as possibly sold.
"""
