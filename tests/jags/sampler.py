"""Draws from model.bug with the `jags` program: data, starts and commands in, CODA out."""
import collections
import os
import random
import subprocess
import tempfile

import statement

MODEL = os.path.join(os.path.dirname(os.path.abspath(__file__)), "model.bug")
CHAINS = 4
SCALE = 1e-8  # keeps the weight of a draw, a probability to JAGS, below 1
PILOT_SWEEPS, PILOT_SHARE = 400, 0.7

Draw = collections.namedtuple("Draw", "kind atom state spot")  # all from 1, as in model.bug


class JagsFailed(Exception):
    pass


def flatten(value):
    """Shape of nested lists, and their numbers with the first index running fastest, as in an R dump."""
    if not isinstance(value, (list, tuple)):
        return [], [value]
    parts = [flatten(v) for v in value]
    return [len(value)] + parts[0][0], [number for row in zip(*(p[1] for p in parts)) for number in row]


def dump(arrays):
    lines = []
    for name, value in arrays.items():
        shape, numbers = flatten(value)
        text = ",".join("%d" % n if isinstance(n, int) else "%.17g" % n for n in numbers)
        if len(shape) > 1:
            text = "structure(c(%s), .Dim=c(%s))" % (text, ",".join(map(str, shape)))
        elif shape:
            text = "c(%s)" % text
        lines.append("%s <- %s\n" % (name, text))
    return "".join(lines)


# ---- what parts are drawn from: [..., value, 1] while a kind has no use for them, [..., value, 2] in use ----

def in_use(arrays):
    """Distributions of roots, slots and scattered sites in use: the prior's own shares. For roots any will do
    (model.bug divides it out again)."""
    roots = []
    for i, shares in enumerate(arrays["state_share"]):
        injured = sum(p for mask, p in enumerate(arrays["pattern"]) if mask >> i & 1)
        injured = min(max(injured, 0.05), 0.95)
        roots.append([1 - injured] + [injured * (0.95 * s + 0.05 / 7) for s in shares[1:]])
    return {"root": roots, "slot": [arrays["atom_share"]] * 3,
            "scatter": [statement.scaled(odds) for odds in arrays["scatter_odds"]]}


def fitted(used, draws):
    """Distributions for parts without use, near to what a pilot run drew for them in use: kinds change more
    often, and the answer stays the same."""
    count = {name: [collections.Counter() for _ in rows] for name, rows in used.items()}
    for chain in draws:
        for draw in chain[len(chain) // 4:]:
            kind = statement.KINDS[draw.kind - 1]
            if kind in statement.WITH_ROOTS:
                for i, state in enumerate(draw.state):
                    count["root"][i][state] += 1
            for k in range(3):
                count["slot"][k].update(atom for atom in draw.atom if atom > 1)
            if kind == "scattered":
                for j, spot in enumerate(draw.spot):
                    count["scatter"][j][spot] += 1
    idle = {}
    for name, rows in used.items():
        idle[name] = []
        for row, seen in zip(rows, count[name]):
            share = PILOT_SHARE if sum(seen.values()) >= 100 else 0
            total = max(sum(seen.values()), 1)
            idle[name].append([(1 - share) * p + share * seen[value + 1] / total for value, p in enumerate(row)])
    return idle


def data(arrays, used, idle):
    out = {name: value for name, value in arrays.items() if name not in ("atom_share", "scatter_odds")}
    for name, rows in used.items():
        out[name + "_draw"] = [[list(pair) for pair in zip(*both)] for both in zip(idle[name], rows)]
    out["root_base"] = used["root"]
    out["scatter_base"] = 1.0
    for odds in arrays["scatter_odds"]:
        out["scatter_base"] *= sum(odds)
    out["scale"] = SCALE
    return out


# ---- one run ----

def start(arrays, chain, seed):
    """Starts far apart: none, one site, two sites, all roots; the parts at random."""
    random_part = random.Random(seed)
    sites = random_part.sample(range((arrays["ATOMS"] - 1) // 2), 3)
    begin = {"kind": [1, 4, 5, 3][chain], "slot": [2 + 2 * s + random_part.randrange(2) for s in sites],
             "root": [random_part.randrange(2, 9) for _ in range(5)], "scatter": [1] * arrays["SCATTER"],
             "variant": 1 + chain % arrays["VARIANTS"], "depth": 1 + chain % 2}
    return dump(begin) + '.RNG.name <- "base::Mersenne-Twister"\n.RNG.seed <- %d\n' % seed


def commands(burn, sweeps):
    lines = ['model in "%s"' % MODEL, "data in data.R", "compile, nchains(%d)" % CHAINS]
    lines += ["parameters in start%d.R, chain(%d)" % (c + 1, c + 1) for c in range(CHAINS)]
    lines += ["initialize", "update %d" % burn]
    lines += ["monitor " + name for name in Draw._fields]
    return "\n".join(lines + ["update %d" % sweeps, "coda *", "exit", ""])


def read_chain(folder, chain):
    with open(os.path.join(folder, "CODAchain%d.txt" % chain)) as file:
        values = [int(float(line.split()[1])) for line in file]
    columns = collections.defaultdict(list)  # name → its columns, in the order of their index
    with open(os.path.join(folder, "CODAindex.txt")) as file:
        for line in file:
            name, first, last = line.split()
            columns[name.partition("[")[0]].append(values[int(first) - 1:int(last)])
    return [Draw(kind, *parts) for kind, *parts in
            zip(columns["kind"][0], *(zip(*columns[name]) for name in Draw._fields[1:]))]


def run(arrays, used, idle, seed, sweeps):
    with tempfile.TemporaryDirectory(prefix="jags-") as folder:
        files = {"data.R": dump(data(arrays, used, idle)), "commands": commands(sweeps // 10, sweeps)}
        for c in range(CHAINS):
            files["start%d.R" % (c + 1)] = start(arrays, c, seed + c)
        for name, text in files.items():
            with open(os.path.join(folder, name), "w") as file:
                file.write(text)
        said = subprocess.run(["jags", "commands"], cwd=folder, capture_output=True, text=True)
        if said.returncode != 0 or not os.path.exists(os.path.join(folder, "CODAindex.txt")):
            raise JagsFailed("jags failed:\n" + said.stdout[-2000:] + said.stderr[-2000:])
        return [read_chain(folder, c + 1) for c in range(CHAINS)]


def draws(arrays, seed, sweeps):
    """CHAINS lists of draws of the stated model."""
    used = in_use(arrays)
    pilot = run(arrays, used, used, seed + CHAINS, PILOT_SWEEPS)
    return run(arrays, used, fitted(used, pilot), seed, sweeps)
