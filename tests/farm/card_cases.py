"""The plan behind the worked cost chain of the project's reference notes (inputs illustrative)."""

from dataclasses import replace
from typing import Any

from farm.planning.card import Batch, Crop, Ingredient, Pack, Place, Plan, Rates

LB_QUARTER_MG = 566_990  # 1.25 lb = 566.99 g

RATES = Rates(
    own_hour_money=180_000,
    paid_hour_money=150_000,
    own_ppm=1_000_000,
    kwh_money=0,
    block_day_money=100,
)


def worked_plan(**changed: Any) -> Plan:
    """Block 1.67 + 10 min at 18 an hour + 60 shelf-days at 0.01 = 5.27; 100 blocks, 7 lost."""
    plan = Plan(
        batch=Batch(
            blocks=100,
            ingredients=(Ingredient("Block, filled", 1, 16_700, is_weighed=False),),
            run_wh=0,
            load_blocks=100,
            block_seconds=600,
            shelf_days=60,
            loss_ppm=70_000,
        ),
        crop=Crop(
            flushes_mg=(LB_QUARTER_MG,),
            pick_seconds=720,
            trim_ppm=80_000,
            fridge_ppm=40_000,
            unsold_ppm=100_000,
        ),
        # 3.40 a kilo: a punnet of 0.38 and a minute at 18 an hour, on 200 g.
        pack=Pack("200 g punnet", 200_000, 3_800, 60),
        place=Place("the stall", 250_000, 7 * 3_600, 20_000_000),
        rates=RATES,
    )
    return replace(plan, **changed)
