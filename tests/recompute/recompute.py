"""Recomputes an answer from GET /v1/model alone:  recompute.py MODEL RECORD ANSWER /pointer/of/a/finding
P(h | exam) ~ P(h) · Σ over worlds P(world) · Π over findings P(finding | intact share), all h but scattered ones."""
import datetime, itertools, json, math, sys
from collections import Counter, defaultdict
model, record, answer = (json.load(open(path, encoding="utf-8")) for path in sys.argv[1:4])
prior, fact = model["priors"][record["mechanism"]], {f["fact"]: f["value"] for f in model["facts"]}
told, bundles, forms, hows = answer["localisation"], model["bundles"], model["variants"], ("partial", "complete")
tables, scales = ({t[one]: t for t in model["likelihoods"][one + "s"]} for one in ("table", "scale"))
# 1. Each finding as P(recorded word | share) on the grid of shares; uneven where a partial lesion takes part.
name = lambda pointer: frozenset(pointer.split("/"))  # in any order: a needle test stands by muscle or by test
def leaves(part, at=""):
    return [x for k in part for x in leaves(part[k], f"{at}/{k}")] if isinstance(part, dict) else [(name(at), part)]
words = {at: str(word).lower() for at, word in leaves(record)} | {name(at): "filled" for at in answer["filled_in"]}
seen, onset = (datetime.date.fromisoformat(record.get(key, "0001-01-01")[:10]) for key in ("examined_at", "onset_at"))
findings = {}  # finding → curves by unevenness, probability outside, bundles by form of the anatomy
for check in model["likelihoods"]["checks"]:
    at, table, scale = name(f"/{check['section']}/{check['item']}"), tables.get(check["table"]), scales[check["scale"]]
    if not table or words.get(at, "untestable") == "untestable" or (seen - onset).days < table["min_days"]:
        continue
    word, out = (scale["normal"], table["filled_outlier"]) if words[at] == "filled" else (words[at], 0)
    mix = next(value["observations"] for value in scale["values"] if value["value"] == word)
    outside, wait = sum(w * table["outside"][o] for o, w in mix), table["full_days"] - table["min_days"]
    come = min(1, ((seen - onset).days - table["min_days"]) / wait) if wait else 1  # how much of the sign has come
    curves = [[(1 - out) * sum(w * (come * row[o] + (1 - come) * table["sharp"][-1][o]) for o, w in mix)
               + out * outside for row in table[spread]] for spread in ("sharp", "uneven")]
    findings[at] = curves, outside, [(forms[0]["bundles"] | form["bundles"])[check["target"]] for form in forms]
# 2. What lesions do to the examined bundles, one hexadecimal digit each: cut or not, and how many times thinned.
digit = {b: 16**i for i, b in enumerate({b for _, _, feeds in findings.values() for b in itertools.chain(*feeds)})}
touched = {s["site"]: sum(digit[b] for b in digit if s["site"] in bundles[b]["sites"]) for s in model["sites"]}
def effect(lesions, cut=0, thinned=0):
    for s, how in lesions:
        cut, thinned = (cut | touched[s], thinned) if how == "complete" else (cut, thinned + touched[s])
    return cut, thinned
def worlds(cut, thinned):  # P(world) and P(each finding) in it, by depth of partial loss and form of the anatomy
    thin = {b: thinned // digit[b] % 16 for b in digit}
    for deep, p in ("mild", fact["partial_share_mild"]), ("severe", 1 - fact["partial_share_mild"]):
        left = {b: 0 if cut & digit[b] else bundles[b]["weight"] * (1 - fact["partial_loss_" + deep]) ** thin[b]
                for b in digit}
        for form, anatomy in enumerate(forms):
            chance = {}
            for at, (curves, _, feeds) in findings.items():  # between two points of the grid: a straight line
                x, curve = 100 * min(1, sum(left[b] for b in feeds[form])), curves[any(thin[b] for b in feeds[form])]
                i = min(int(x), 99)
                chance[at] = curve[i] + (x - i) * (curve[i + 1] - curve[i])
            yield p * anatomy["prevalence"], chance
# 3. The prior as {effect: {all: weight, injured site: weight}}: hypotheses of one effect have one likelihood.
roots = {r: [s["site"] for s in model["sites"] if s["level"] == "root" and s["name"] == r] for r in prior["state"]}
states = {f"{at}_{how}": [(i, how)] for i, at in enumerate(["pre", "proximal", "distal"])
          for how in hows} | {"double": [(0, "complete"), (2, "complete")], "intact": []}
torn, total, groups = defaultdict(Counter), Counter(), defaultdict(Counter)
for config in itertools.product(states, repeat=5):  # C = Π state · Π over injured neighbours that agree
    first = [states[state][0] if states[state] else None for state in config]
    c = math.prod(prior["agree_level"] ** (a[0] == b[0]) * prior["agree_complete"] ** (a[1] == b[1])
                  for a, b in zip(first, first[1:]) if a and b)
    c *= math.prod(prior["state"][r][state] for r, state, a in zip(roots, config, first) if a)
    lesions = [(roots[r][i], how) for r, state in zip(roots, config) for i, how in states[state]]
    hurt = frozenset(r for r, a in zip(roots, first) if a)
    torn[hurt, effect(lesions)].update(dict.fromkeys([*dict(lesions), "all"], c))
    total[hurt] += c
paths = [bundles[b] for target in forms[0]["bundles"].values() for b in target]
fibres = sum((Counter({ab: p["weight"] for ab in itertools.product(p["sites"], repeat=2)}) for p in paths), Counter())
region, level = ({s["site"]: s[what] for s in model["sites"]} for what in ("region", "level"))
def together(a, b):  # the name of the factor for two further sites
    return ("in_series" if region[a] == region[b] and fibres[a, b] > min(fibres[a, a], fibres[b, b]) / 2 else
            "same_level" if level[a] == level[b] != "nerve" else "same_region" if region[a] == region[b] else None)
fed = {s: {p["root"] for p in paths if s in p["sites"]} & {*roots} for s in level if level[s] in ("trunk", "division")}
def factor(hurt, further):  # pattern / Σ C · Π q · what couples two sites, in_series also for a trunk beside all its roots
    pattern = prior["pattern"][sum(1 << i for i, r in enumerate(roots) if r in hurt)] if hurt else 1
    share = math.prod(prior["site"][s][how] for s, how in further) * math.prod(
        prior.get(together(a, b), 1) for (a, _), (b, _) in itertools.combinations(further, 2))
    return pattern / total[hurt] * share * prior["in_series"] ** sum(fed[s] <= hurt for s, _ in further if s in fed)
kinds = {"none": (0, [0]), "single": (1, [0]), "pair": (2, [0]), "triple": (3, [0]), "roots": (0, range(1, 6)),
         "roots_and_one": (1, range(1, 6)), "root_and_two": (2, [1])}  # number of further sites, of injured roots
for kind, (n, injured) in kinds.items():
    several = [(hit, factor(hurt, A), w, A) for (hurt, hit), w in torn.items() if len(hurt) in injured
               for A in itertools.combinations(itertools.product(prior["site"], hows), n) if len(dict(A)) == n]
    share = prior["kind"][kind] / math.fsum(f * w["all"] for _, f, w, _ in several)
    for hit, f, w, A in several:
        groups[effect(A, *hit)].update({s: share * f * x for s, x in dict(w, **dict.fromkeys(dict(A), w["all"])).items()})
# 4. The posterior. Then log10 odds of the first hypothesis, less those without the finding (each weight over its P).
left_out, post, cases, lead = name(sys.argv[4]), Counter(), {}, told["hypotheses"][0]
for hit, weights in groups.items():
    cases[hit] = [(1 / chance[left_out], p * math.prod(chance.values())) for p, chance in worlds(*hit)]
    post.update({s: w * sum(p for _, p in cases[hit]) for s, w in weights.items()})
post["no_lesion"] = prior["kind"]["none"] * sum(p for _, p in cases[0, 0])
post["outside_plexus"] = prior["kind"]["outside"] * math.prod(outside for _, outside, _ in findings.values())
total, asked = post["all"] + post["outside_plexus"], [(s["site"], s["p_injured"]) for s in told["sites"]]
off = max(abs(post[s] / total / p - 1) for s, p in asked + [(s, told[s]) for s in ("no_lesion", "outside_plexus")])
own, odds = cases[effect([(s["site"], s["severity"]) for s in lead["lesions"]])], lead["probability"]
one = sum(x * p for x, p in own) / sum(p for _, p in own)
pairs = [(x, groups[hit]["all"] * p / total) for hit in cases for x, p in cases[hit]]
pairs = sorted(pairs + [(1 / findings[left_out][1], post["outside_plexus"] / total)])
def evidence(pairs, lost):  # where the rivals first in line have lost so much of their weight
    kept = [(x, max(0, min(w, upto - lost))) for (x, w), upto in zip(pairs, itertools.accumulate(w for _, w in pairs))]
    return math.log10((sum(x * w for x, w in kept) - odds * one) / (1 - odds - lost) / one)
lost = 1 - told.get("list_covers", sum(h["probability"] for h in told["hypotheses"]))  # beyond what was averaged over
low, full, high = evidence(pairs[::-1], lost), evidence(pairs, 0), evidence(pairs, lost)
said = next(e["log10_odds"] for e in told["evidence"] if e["pointer"] == sys.argv[4])
print(f"{len(groups)} effects; off by {off:.1e}; {said} told, {full:.4f} in full, {low:.4f} to {high:.4f} allowed")
sys.exit(off > 5.001e-6 or not low <= said <= high)  # the answer has six digits
