"""What things cost: the plans that were saved. What was decided about costing, and why.

- Spoilage. A check without `passed` looks a lot over: the planned loss leaves first, each further
  block at its share of the rest. A check with `passed` is an inspection: what is lost beyond plan
  leaves at the cost sunk so far, and the planned loss falls on the passed, which become a lot of
  their own. A published rate on good output is stated as a count of the lot. Fewer lost than
  planned are no gain of the period: the good ones are cheaper. Rework stays in its lot. A purchase
  put right later moves what was drawn of it before, where a card kept by hand would not.
- A flush is picked over days. A pick's line keeps its flush (`turn`), the blocks then (`pieces`)
  and what was planned of this flush and of later ones; what is still expected after it is worked
  from the picks that stand (`costing.still_expected`), never kept. What is split off
  (`Lot.part_of`) takes its earlier picks along. Room since the last move or pick falls on the
  blocks (`Charge.lot`), before they are shared.
- By-products (trim, kept spent blocks, scrap) share by worth, or are taken off what they come of
  at their worth (`Line.worth`), as the farm chose for that day. Scrap of what is lost beyond plan
  lowers its own loss at its worth, whatever the choice: abnormal waste is an expense of the
  period (IAS 2.16), so only scrap of the planned loss can share (IAS 2.14): before the first pick
  with the crop that is planned of the other blocks, after it as a pick of what is worth as much.
- The last wait. The room between the last pick and "spent" is charged at "spent", to the picks:
  the place was held for those blocks, and charged to nobody it would be lost silently.
- Grades share a pick by weight, trim free; or by worth where it is stated; grades dried together
  are one lot, at the cost of both.
- Spent blocks are thrown away without cost after their picks, unless they are kept ("keep spent
  blocks", before they are marked spent): then they are one more pick of their lot, of the weight
  of crop that is worth as much, so that all cost ever on the lot is shared, by worth, and settles
  at "spent" with the picks. The line has no weight given (`basis` in its place), so no yield
  counts it; the blocks stay on hand until "spent", which bills their last wait to all. They are a
  stage of their own, and no food: the five costs of a kilo leave them out.
- A clone takes cost by the weight of the piece; where a worth is stated, worth / (worth + what
  stays of the pick). What a culture made of it later earns never flows back to that pick.
- Water. What a weighing writes off without cost is the species' own figure, which the farm sets.
  What its weighings say (`water_loss.py`) tells what a lot should weigh, and never enters the
  book: else each loss that was let through would widen the band.
- A bin that is topped up is a new lot at the average; sacks drawn oldest first are first in,
  first out.
- Plan against actual holds a batch against the card saved before it was started, else against
  what was in force; the order of substitution is price, quantity, loss, yield.
"""
