"""How yields, losses and minutes vary from batch to batch: by belief, and by the farm's records.

Yields are drawn on a log scale, shares on their odds. Of a new farm not only the next batch is in
doubt but its own mean; a small batch scatters more than a large one. From nine own records on
these are drawn themselves. Prices do not vary.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np

from farm.planning.card import MILLION, Plan
from farm.planning.chain import Draws
from farm.planning.grown import Grown, Records

DRAWS = 20_000
SEED = 20_260
TENTH = 1.2815515655446004  # one in ten of a normal distribution lies beyond so many deviations
# With nine records the lowest and the highest stand at one and nine tenths: fewer cannot say
# where the outer tenths begin.
ENOUGH_RECORDS = 9
# Own rule, no source: 12 % from batch to batch, 25 % from block to block, and the mean of a new
# farm 25 % off what growers usually find. A belief counts as much as four batches.
BATCH_APART, BLOCK_APART, MEAN_APART, BELIEF_WEIGHS = 0.12, 0.25, 0.25, 4
# Common practice, no source: 20 % less to 35 % more minutes; odds of a loss off by 60 %; odds of
# trim, fridge and unsold half to double; all from the tenth to the ninth batch of ten.
FEWER_MINUTES, MORE_MINUTES, LEAST_MINUTES, MOST_MINUTES = 0.20, 0.35, 0.3, 5.0
LOSS_APART, SHARE_APART = 0.6, log(2) / TENTH
MANY_BLOCKS = 1_000_000  # of more, luck is no part worth drawing
CAUSES = {
    "yield": "yield of a block",
    "loss": "blocks lost",
    "minutes": "minutes of work",
    "fridge": "fridge loss",
    "unsold": "unsold share",
    "trim": "trimmed off",
}
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class LogYield:
    """The log of what a block of the next batch gives: its middle, and two deviations.

    ``scatter``: from batch to batch. ``doubt``: of the farm's own mean.
    """

    middle: float
    scatter: float
    doubt: float


@dataclass(frozen=True)
class _Draw:
    """What every draw needs: the plan, the records, and a stream for each cause."""

    plan: Plan
    records: Records
    streams: Mapping[str, np.random.Generator]
    count: int


def drawn(
    plan: Plan, records: Records, *, seed: int = SEED, count: int = DRAWS
) -> dict[str, Draws]:
    """Draw batches like the planned one; the same plan, records and seed give the same batches."""
    draw = _Draw(plan, records, _streams(seed), count)
    if len(records.batches) >= ENOUGH_RECORDS and records.crops:
        kilos, loss, trim = _own_batches(draw)
    else:
        kilos, loss, trim = _believed_batches(draw)
    # Batches without a crop are as many of the draws as they were of the records.
    loss[: round(count * records.nothing)] = 1.0
    crop = plan.crop
    return {
        "yield": kilos,
        "loss": loss,
        "minutes": _minutes(draw.streams["minutes"], count),
        "fridge": _share(draw, "fridge", records.fridge, planned=crop.fridge_ppm),
        "unsold": _share(draw, "unsold", records.unsold, planned=crop.unsold_ppm),
        "trim": trim,
    }


def sources_of(records: Records) -> dict[str, str]:
    """Say where the spread of each cause is from."""
    own = {"yield": len(records.crops), "loss": len(records.batches), "trim": len(records.crops)}
    own |= {"fridge": len(records.fridge), "unsold": len(records.unsold)}
    enough = len(records.batches) >= ENOUGH_RECORDS
    found = dict.fromkeys(CAUSES, PRACTICE)
    for key, count in own.items():
        by_batch = key in ("yield", "loss", "trim")
        if enough if by_batch else count >= ENOUGH_RECORDS:
            found[key] = f"the farm's own, {count} {'batches' if by_batch else 'lots'}"
        elif key == "yield" and count:
            found[key] = f"{PRACTICE}, and {count} own batches"
    return found


def batch_scatter(blocks: float) -> float:
    """What a batch of so many blocks scatters by belief, as a variance of its log yield."""
    return BATCH_APART**2 + BLOCK_APART**2 / blocks


def log_yield(believed_kg: float, own: Sequence[Grown], blocks: int) -> LogYield:
    """Set belief and own batches together, each by how sure it is, for a plan of so many blocks.

    Without records the mean is in doubt by 25 %; by nine batches that scatter 20 %, by 6.44 %.
    """
    count = len(own)
    if not count:
        return LogYield(log(believed_kg), sqrt(batch_scatter(blocks)), MEAN_APART)
    logs = np.log([one.kilos for one in own])
    mean = float(np.mean(logs))
    each = np.array([batch_scatter(one.fruited) for one in own])
    usual = batch_scatter(_usual([one.fruited for one in own]))
    # Each batch strays as it would with as many blocks as are usual.
    strayed = float(np.sum((logs - mean) ** 2 * usual / each))
    variance = (BELIEF_WEIGHS * usual + strayed) / (BELIEF_WEIGHS + count - 1)
    belief, records = 1 / MEAN_APART**2, count / variance
    return LogYield(
        middle=(belief * log(believed_kg) + records * mean) / (belief + records),
        scatter=sqrt(variance * batch_scatter(blocks) / usual),
        doubt=sqrt(1 / (belief + records)),
    )


# --- batches ---------------------------------------------------------------------------------


def _believed_batches(draw: _Draw) -> tuple[Draws, Draws, Draws]:
    """Fewer than nine records: kilos a block, loss and trim by belief, each by itself."""
    plan, records = draw.plan, draw.records
    believed_kg = records.believed_kg or plan.crop.yield_mg / MILLION
    found = log_yield(believed_kg, records.crops, plan.batch.blocks)
    random = draw.streams["yield"]
    apart = sqrt(found.scatter**2 + found.doubt**2)
    kilos = np.exp(found.middle + apart * random.standard_normal(draw.count))
    usual_loss = 1 - float(plan.batch.kept)
    if records.nothing and records.crops:  # whole losses are drawn apart
        usual_loss = float(np.mean([one.loss for one in records.crops]))
    loss = _near(draw.streams["loss"], draw.count, usual=usual_loss, apart=LOSS_APART)
    luck = _of_blocks(loss, plan.batch.blocks, draw.streams["luck"])
    return kilos, luck, _share(draw, "trim", (), planned=plan.crop.trim_ppm)


def _own_batches(draw: _Draw) -> tuple[Draws, Draws, Draws]:
    """Draw the farm's own batches, each with its loss and its trim, in the order of their crop.

    What blocks started gave runs through record i of n at i / (n + 1): the next batch falls below
    record i in i of n + 1 cases, whatever the shape of its distribution. Loss and trim are those
    of the record drawn, so that a batch that lost many and gave little does so in both.
    """
    own, blocks = draw.records.crops, draw.plan.batch.blocks
    loss = np.array([one.loss for one in own])
    crop = (1 - loss) * _at_size(own, blocks)
    order = np.argsort(crop, kind="stable")
    even = draw.streams["yield"].random(draw.count)
    places = np.arange(1, len(own) + 1) / (len(own) + 1)
    chosen = order[(even * len(own)).astype(np.intp)]
    kilos = np.interp(even, places, crop[order]) / (1 - loss[chosen])
    trim = np.array([one.trim for one in own])[chosen]
    usual = _usual([one.started for one in own])
    if blocks >= usual:
        return kilos, loss[chosen], trim
    # Few blocks have more luck than many: what is missing of it in the records of larger batches.
    lucky = _of_blocks(loss[chosen], blocks * usual / (usual - blocks), draw.streams["luck"])
    return kilos, lucky, trim


def _at_size(own: Sequence[Grown], blocks: int) -> Draws:
    """The kilos of own batches, strayed from their middle as batches of so many blocks would."""
    logs = np.log([one.kilos for one in own])
    wider = np.sqrt([batch_scatter(blocks) / batch_scatter(one.fruited) for one in own])
    middle = np.mean(logs)
    found: Draws = np.exp(middle + (logs - middle) * wider)
    return found


def _usual(blocks: Sequence[int]) -> float:
    """The size of batch whose luck is the mean of theirs: the harmonic mean."""
    return float(len(blocks) / sum(1 / count for count in blocks))


def _of_blocks(loss: Draws, blocks: float, random: np.random.Generator) -> Draws:
    """Turn a rate into a share of whole blocks, as luck has it."""
    if blocks > MANY_BLOCKS:
        return loss
    whole = max(round(blocks), 1)
    return random.binomial(whole, loss) / whole


# --- shares, minutes -------------------------------------------------------------------------


def _share(draw: _Draw, key: str, own: Sequence[float], *, planned: int) -> Draws:
    """Draw a share from own records where there are nine, else by belief."""
    random = draw.streams[key]
    if len(own) < ENOUGH_RECORDS:
        return _near(random, draw.count, usual=planned / MILLION, apart=SHARE_APART)
    even = random.random(draw.count) * len(own)
    known = np.sort(np.asarray(own, dtype=np.float64))
    inner = known[(known > 0) & (known < 1)]
    zeros, ones = np.sum(known == 0), np.sum(known == 1)
    places = zeros + np.arange(1, inner.size + 1) * inner.size / (inner.size + 1)
    between = np.interp(even, places, inner) if inner.size else np.ones(draw.count)
    found: Draws = np.where(even < zeros, 0.0, np.where(even >= len(own) - ones, 1.0, between))
    return found


def _near(random: np.random.Generator, count: int, *, usual: float, apart: float) -> Draws:
    """Draw shares around a usual one on the scale of log odds; 0 and 1 stay."""
    z = random.standard_normal(count)
    if not 0 < usual < 1:
        return np.full(count, usual)
    found: Draws = 1 / (1 + (1 - usual) / usual * np.exp(-apart * z))
    return found


def _minutes(random: np.random.Generator, count: int) -> Draws:
    """Draw parts of the planned minutes: two halves of normal curves that meet at one."""
    z = random.standard_normal(count) / TENTH
    strayed = 1 + z * np.where(z < 0, FEWER_MINUTES, MORE_MINUTES)
    return np.clip(strayed, LEAST_MINUTES, MOST_MINUTES)


def _streams(seed: int) -> dict[str, np.random.Generator]:
    """Give each cause draws of its own, so that another spread for one leaves the rest alike."""
    names = (*CAUSES, "luck")
    children = np.random.SeedSequence(seed).spawn(len(names))
    return dict(zip(names, map(np.random.default_rng, children), strict=True))
