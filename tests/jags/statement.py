"""The arrays that model.bug speaks of, from the published model (GET /v1/model) and one examination record.

Written from the statement of the model: the JSON's own names, and the comments of lib/hypotheses.h for the
prior. Nothing here touches the engine.
"""
import datetime
import itertools

KINDS = ["none", "outside", "roots", "single", "pair", "triple", "roots_and_one", "root_and_two", "scattered"]
ROOTS = ["C5", "C6", "C7", "C8", "T1"]
STATES = ["intact", "pre_partial", "pre_complete", "proximal_partial", "proximal_complete", "distal_partial",
          "distal_complete", "double"]
# Severity (1 intact, 2 partial, 3 complete) of a root's preganglionic, proximal and distal site by state.
STATE_SEVERITY = [(1, 1, 1), (2, 1, 1), (3, 1, 1), (1, 2, 1), (1, 3, 1), (1, 1, 2), (1, 1, 3), (3, 1, 3)]
STATE_COMPLETE = [0, 0, 1, 0, 1, 0, 1, 1]  # of injured states; torn and ruptured counts as complete
STATE_LEVEL = [0, 1, 1, 2, 2, 3, 3, 1]     # preganglionic, proximal, distal; torn and ruptured as the first
WITH_ROOTS = ("roots", "roots_and_one", "root_and_two")
SCATTER_SIZES = (4, 5, 6)
LONG_AGO = 1e6  # days: onset not known counts as past every full_days


def days_since_onset(record):
    if "onset_at" not in record:
        return LONG_AGO
    day = [datetime.date.fromisoformat(record[key][:10]) for key in ("examined_at", "onset_at")]
    return (day[0] - day[1]).days


def members(record, path):
    """(section, item, value) of every finding of a record, in the words of the model's checks."""
    for key, value in record.items():
        here = path + [key]
        if here == ["investigations", "hemidiaphragm"]:
            yield "/".join(here), "", value
        elif here[0] not in ("motor", "movements", "sensation", "reflexes", "signs", "wasting", "percussion",
                             "investigations"):
            continue
        elif isinstance(value, dict):
            yield from members(value, here)
        elif here[:2] == ["investigations", "emg"]:
            yield "/".join(here[:2] + here[3:]), here[2], value
        else:
            yield "/".join(path), key, value


def findings(model, record, filled):
    """The findings that have a target: dicts of the check, its table, the word's observations, filled in or not.
    `filled` are the pointers that the answer says otherwise_normal added, at their scale's normal value."""
    likelihoods = model["likelihoods"]
    checks = {(c["section"], c["item"]): c for c in likelihoods["checks"]}
    tables = {t["table"]: t for t in likelihoods["tables"]}
    scales = {s["scale"]: s for s in likelihoods["scales"]}
    given = [(checks[section, item], value, False) for section, item, value in members(record, [])]
    for pointer in filled:
        section, _, item = pointer.lstrip("/").rpartition("/")
        check = checks[section, item]
        given.append((check, scales[check["scale"]]["normal"], True))
    out = []
    for check, value, filled_in in given:
        word = str(value).lower() if isinstance(value, bool) else str(value)
        if check["target"] is None or word == "untestable":
            continue
        observations = {v["value"]: v["observations"] for v in scales[check["scale"]]["values"]}[word]
        out.append({"target": check["target"], "table": tables[check["table"]], "filled": filled_in,
                    "observations": (observations + [[observations[0][0], 0]])[:2]})
    return out


def routes_of(model, targets):
    """Routes (sets of sites) of the bundles of these targets, and their weight by target, route and variant.
    Bundles of one target along one route leave the same fraction, so their weights add up."""
    routes, weight = {}, {}
    for v, variant in enumerate(model["variants"]):
        for f, target in enumerate(targets):
            places = variant["bundles"].get(target, model["variants"][0]["bundles"][target])
            for bundle in (model["bundles"][i] for i in places):
                assert bundle["weight"] > 0
                route = routes.setdefault(frozenset(bundle["sites"]), len(routes))
                weight[f, route, v] = weight.get((f, route, v), 0) + bundle["weight"]
    return list(routes), weight


def root_totals(prior):
    """Sum of C(r) over the root configurations of each mask of injured roots, C5 lowest."""
    state = [[prior["state"][root][name] for name in STATES] for root in ROOTS]
    totals = [1.0] + [0.0] * 31  # the mask without a root is never divided by: its share is 0
    for config in itertools.product(range(8), repeat=5):
        mask = sum(1 << i for i, s in enumerate(config) if s > 0)
        c = 1.0
        for i, s in enumerate(config):
            c *= state[i][s] if s > 0 else 1
            if i > 0 and s > 0 and config[i - 1] > 0:
                t = config[i - 1]
                c *= prior["agree_complete"] if STATE_COMPLETE[s] == STATE_COMPLETE[t] else 1
                c *= prior["agree_level"] if STATE_LEVEL[s] == STATE_LEVEL[t] else 1
        totals[mask] += c if mask else 0
    return totals


def scaled(values):
    total = sum(values)
    return [v / total for v in values]


def paths(model):
    """In the usual form (the first variant), over all targets: fibres shared by two sites, as bundle weights (a
    site with itself: all its fibres); and the plexus roots that feed each trunk and division."""
    names = [s["site"] for s in model["sites"]]
    level = {s["site"]: s["level"] for s in model["sites"]}
    shared = {(a, b): 0 for a in names for b in names}
    fed = {site: [0] * len(ROOTS) for site in names}
    for places in model["variants"][0]["bundles"].values():
        for bundle in (model["bundles"][i] for i in places):
            for a in bundle["sites"]:
                for b in bundle["sites"]:
                    shared[a, b] += bundle["weight"]
                if level[a] in ("trunk", "division") and bundle["root"] in ROOTS:
                    fed[a][ROOTS.index(bundle["root"])] = 1
    return shared, fed


def tiers(model):
    """Trunks, divisions and cords: a number a level. Every other site has a number of its own."""
    numbers = {"trunk": 1, "division": 2, "cord": 3}
    return {s["site"]: numbers.get(s["level"], 4 + i) for i, s in enumerate(model["sites"])}


def set_totals(model, prior):
    """Z1, Z2, Z3 and Zx: what the kinds with further sites sum to before they are scaled to 1, severities summed
    out: over roots and a site, over unordered sets of two and three sites, over a root and two sites."""
    region = {s["site"]: s["region"] for s in model["sites"]}
    tier = tiers(model)
    shared, fed = paths(model)
    q = {site: share["partial"] + share["complete"] for site, share in prior["site"].items()}

    def k(a, b):
        if region[a] == region[b] and shared[a, b] > min(shared[a, a], shared[b, b]) / 2:
            return prior["in_series"]
        if tier[a] == tier[b]:
            return prior["same_level"]
        return prior["same_region"] if region[a] == region[b] else 1

    def c(mask, a):
        feeds = sum(1 << i for i, f in enumerate(fed[a]) if f)
        return prior["in_series"] if feeds and feeds & mask == feeds else 1

    factor = {(a, b): k(a, b) for a, b in itertools.combinations(q, 2)}
    singles = scaled([prior["pattern"][1 << i] for i in range(5)])
    z1 = sum(prior["pattern"][mask] * q[a] * c(mask, a) for mask in range(1, 32) for a in q)
    z2 = sum(q[a] * q[b] * factor[a, b] for a, b in factor)
    z3 = sum(q[a] * q[b] * q[d] * factor[a, b] * factor[a, d] * factor[b, d]
             for a, b, d in itertools.combinations(q, 3))
    zx = sum(singles[i] * q[a] * q[b] * factor[a, b] * c(1 << i, a) * c(1 << i, b)
             for i in range(5) for a, b in factor)
    return {"Z1": z1, "Z2": z2, "Z3": z3, "Zx": zx}


def scatter_total(prior):
    """Z4: sum over all sets of scattered sites of the product of their odds, severities summed out."""
    total = 0.0
    for size in SCATTER_SIZES:
        for chosen in itertools.combinations(prior["scattered"].values(), size):
            product = 1.0
            for odds in chosen:
                product *= odds["partial"] + odds["complete"]
            total += product
    return total


def prior_arrays(model, mechanism):
    prior = model["priors"][mechanism]
    names = [s["site"] for s in model["sites"]]
    regions = sorted({s["region"] for s in model["sites"]})
    further = list(prior["site"])
    atoms = [(site, severity) for site in further for severity in ("partial", "complete")]
    shared, fed = paths(model)
    assert prior["pattern"][0] == 0
    state = [[prior["state"][root][name] for name in STATES] for root in ROOTS]
    # Two pads, so that the loops of model.bug are never empty; they are never picked.
    odds = list(prior["scattered"].items()) + [(further[0], {"partial": 0, "complete": 0})] * 2
    return {
        "SITES": len(names), "ATOMS": len(atoms) + 1, "SCATTER": len(odds),
        "kind_prior": [prior["kind"][kind] for kind in KINDS],
        "slots": [0, 0, 0, 1, 2, 3, 1, 2, 0], "with_roots": [int(kind in WITH_ROOTS) for kind in KINDS],
        "atom_site": [1] + [names.index(site) + 1 for site, _ in atoms],
        "atom_severity": [1] + [2 if severity == "partial" else 3 for _, severity in atoms],
        "atom_fed": [[0] * 5] + [fed[site] for site, _ in atoms],
        "region": [regions.index(s["region"]) + 1 for s in model["sites"]],
        "shared": [[shared[a, b] for b in names] for a in names],
        "tier": list(tiers(model).values()),
        "same_region": prior["same_region"], "same_level": prior["same_level"], "in_series": prior["in_series"],
        "atom_share": [0] + [prior["site"][site][severity] for site, severity in atoms],
        "root_site": [[names.index("%s_%s" % (root.lower(), part)) + 1
                       for part in ("preganglionic", "proximal", "distal")] for root in ROOTS],
        "root_severity": STATE_SEVERITY, "state_complete": STATE_COMPLETE, "state_level": STATE_LEVEL,
        "state_share": [[1] + shares[1:] for shares in state],
        "agree_complete": prior["agree_complete"], "agree_level": prior["agree_level"],
        "pattern": prior["pattern"], "pattern_total": root_totals(prior),
        "single_root_total": sum(prior["pattern"][1 << i] for i in range(5)),
        **set_totals(model, prior), "Z4": scatter_total(prior) or 1,
        "scatter_site": [names.index(site) + 1 for site, _ in odds],
        "scatter_odds": [[1, o["partial"], o["complete"]] for _, o in odds],
    }


def exam_arrays(model, record, filled):
    names = [s["site"] for s in model["sites"]]
    facts = {f["fact"]: f["value"] for f in model["facts"]}
    found = findings(model, record, filled)
    routes, weight = routes_of(model, [f["target"] for f in found])
    variants = model["variants"]
    spreads = ("sharp", "uneven")
    return {
        "FINDINGS": len(found), "ROUTES": len(routes), "VARIANTS": len(variants),
        "GRID": model["likelihoods"]["grid"],
        "prevalence": [v["prevalence"] for v in variants],
        "partial_loss": [facts["partial_loss_mild"], facts["partial_loss_severe"]],
        "depth_share": [facts["partial_share_mild"], 1 - facts["partial_share_mild"]],
        "runs": [[int(name in route) for name in names] for route in routes],
        "weight": [[[weight.get((f, r, v), 0) for v in range(len(variants))] for r in range(len(routes))]
                   for f in range(len(found))],
        "days": days_since_onset(record),
        "min_days": [f["table"]["min_days"] for f in found],
        "full_days": [f["table"]["full_days"] for f in found],
        "filled": [f["table"]["filled_outlier"] if f["filled"] else 0 for f in found],
        "share": [[share for _, share in f["observations"]] for f in found],
        "outside": [[f["table"]["outside"][o] for o, _ in f["observations"]] for f in found],
        "table": [[[[row[o] for row in f["table"][spread]] for spread in spreads] for o, _ in f["observations"]]
                  for f in found],
    }
