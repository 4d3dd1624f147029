"""Marginals of draws against the engine's, in standard errors by batch means."""
import collections
import math

import statement

BATCHES = 25     # a chain
LIMIT = 4.0      # standard errors
FLOOR = 0.0005   # so rare that a sample of this size can't tell
RHAT_LIMIT = 1.01
WELL_SEEN = 0.02  # marginals from here to 1 minus this judge how chains mix
# P(|t| > 4) with 99 degrees of freedom: what one comparison of 100 batch means risks.
RISK = 1.2e-4

Row = collections.namedtuple("Row", "name exact drawn error z rhat")


def exact_marginals(answer):
    """Of an answer's JSON."""
    place = answer["localisation"]
    out = {"no lesion": place["no_lesion"], "outside": place["outside_plexus"]}
    for site in place["sites"]:
        out[site["site"]] = site["p_injured"]
    for root in place["roots"]:
        for state in ("intact", "preganglionic", "postganglionic"):
            out["%s %s" % (root["root"], state)] = root["p_" + state]
    return out


def events(arrays, names, draw):
    """Which of the marginals' events a draw shows."""
    seen = {"no lesion"} if draw.kind == 1 else {"outside"} if draw.kind == 2 else set()
    seen.update(names[arrays["atom_site"][atom - 1] - 1] for atom in draw.atom if atom > 1)
    seen.update(names[arrays["scatter_site"][j] - 1] for j, spot in enumerate(draw.spot) if spot > 1)
    for i, state in enumerate(draw.state):
        severities = statement.STATE_SEVERITY[state - 1]
        seen.update(names[arrays["root_site"][i][part] - 1] for part in range(3) if severities[part] > 1)
        where = "intact" if state == 1 else "preganglionic" if severities[0] > 1 else "postganglionic"
        seen.add("%s %s" % (statement.ROOTS[i], where))
    return seen


def batch_means(arrays, names, chains):
    """Event → means of BATCHES batches of each chain."""
    known = {}
    size = len(chains[0]) // BATCHES
    means = collections.defaultdict(lambda: [[0.0] * BATCHES for _ in chains])
    for c, chain in enumerate(chains):
        for t, draw in enumerate(chain[:size * BATCHES]):
            if draw not in known:
                known[draw] = events(arrays, names, draw)
            for event in known[draw]:
                means[event][c][t // size] += 1 / size
    return means


def mean(values):
    return sum(values) / len(values)


def variance(values):
    middle = mean(values)
    return sum((v - middle) ** 2 for v in values) / (len(values) - 1)


def chain_agreement(by_chain):
    """Potential scale reduction (Gelman and Rubin 1992) of an event's draws."""
    means = [mean(batches) for batches in by_chain]
    within = mean([m * (1 - m) for m in means])
    return math.sqrt(1 + variance(means) / within) if within > 0 else math.inf


def well_seen(p):
    return WELL_SEEN < p < 1 - WELL_SEEN


def compare(exact, arrays, names, chains):
    """A row for each marginal. A standard error is never taken below that of independent draws at the exact
    probability. Rare events come in clumps that the batches of one run can miss, so theirs is not taken below
    that times the worst inefficiency among the exam's well seen marginals."""
    means = batch_means(arrays, names, chains)
    size = len(chains[0]) // BATCHES * BATCHES * len(chains)
    none = [[0.0] * BATCHES for _ in chains]
    raw = []
    for name, p in exact.items():
        by_chain = means.get(name, none)
        batches = [b for chain in by_chain for b in chain]
        raw.append((name, p, mean(batches), variance(batches) / len(batches), p * (1 - p) / size, by_chain))
    inefficiency = max([1] + [v / w for _, p, _, v, w, _ in raw if well_seen(p)])
    rows = []
    for name, p, drawn, own, independent, by_chain in raw:
        error = math.sqrt(max(own, independent * (1 if well_seen(p) else inefficiency)))
        rhat = chain_agreement(by_chain) if well_seen(p) else 1.0
        z = max(abs(drawn - p) - FLOOR, 0) / error if error > 0 else math.inf if abs(drawn - p) > FLOOR else 0
        rows.append(Row(name, p, drawn, error, z, rhat))
    return rows


def effective(row):
    return row.exact * (1 - row.exact) / row.error ** 2 if row.error > 0 else math.inf


def agrees(rows):
    return all(row.z <= LIMIT and row.rhat <= RHAT_LIMIT for row in rows)
