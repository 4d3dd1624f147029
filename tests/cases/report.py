#!/usr/bin/env python3
"""Scores `BINARY assess -` on published cases and says where it goes wrong. Standard library only.

usage: report.py --binary build/rootward --cases DIR     (a case: exam, truth, strict, difficulty)

Rules: an answer's hypotheses are merged by their set of (level, name); branches count as nerves, deep_ulnar as
ulnar, a whole trunk as its roots. Only strict cases that name a lesion count.
"""
import argparse
import collections
import glob
import json
import math
import os
import subprocess

TRUNKS = {"upper": ("C5", "C6"), "middle": ("C7",), "lower": ("C8", "T1")}
LEVELS = {"root": "supraclavicular", "trunk": "supraclavicular", "division": "supraclavicular",
          "cord": "infraclavicular"}
NECK_NERVES = {"suprascapular", "long_thoracic", "dorsal_scapular", "phrenic", "spinal_accessory"}
SHOULDER_NERVES = {"axillary", "musculocutaneous", "thoracodorsal", "lateral_pectoral", "medial_pectoral",
                   "upper_subscapular", "lower_subscapular"}
# What in a record bears on whether a root is torn from the cord: places in the record, and whether for each root.
EVIDENCE = [("imaging", "investigations/imaging/pseudomeningocele/{root}"),
            ("imaging", "investigations/imaging/root_avulsion/{root}"),
            ("paraspinal", "investigations/paraspinal_denervation/{root}"), ("SNAP", "investigations/snap"),
            ("hemidiaphragm", "investigations/hemidiaphragm"), ("rhomboids", "motor/rhomboids"),
            ("serratus", "motor/serratus_anterior"), ("winging", "signs/scapular_winging"),
            ("Horner", "signs/ptosis"), ("Horner", "signs/miosis"), ("Horner", "signs/dilation_lag"),
            ("pain", "signs/deafferentation_pain"), ("percussion", "percussion/supraclavicular_upper"),
            ("percussion", "percussion/supraclavicular_middle"), ("percussion", "percussion/supraclavicular_lower")]


def lesion_set(lesions):
    out = set()
    for lesion in lesions:
        level = "nerve" if lesion["level"] == "branch" else lesion["level"]
        name = "ulnar" if lesion["name"] == "deep_ulnar" else lesion["name"]
        whole = level == "trunk" and name in TRUNKS
        out |= {("root", root) for root in TRUNKS[name]} if whole else {(level, name)}
    return frozenset(out)


def words(lesions):
    return " ".join(sorted(name if level in ("root", "nerve") else f"{name}_{level}" for level, name in lesions)) or "-"


def region(lesions):
    """Where the truth's first lesion lies."""
    def of(level, name):
        if name in NECK_NERVES:
            return "supraclavicular"
        return "infraclavicular" if name in SHOULDER_NERVES else LEVELS.get(level, "arm and hand")
    found = {of(*lesion) for lesion in lesions}
    return next((r for r in ("supraclavicular", "infraclavicular") if r in found), "arm and hand")


def ranked(answer):
    merged = collections.Counter()
    for h in answer["localisation"]["hypotheses"]:
        merged[lesion_set(h["lesions"])] += h["probability"]
    return sorted(merged.items(), key=lambda item: -item[1])


def leading_lesions(answer, leader):
    """The lesions of the first hypothesis with this set."""
    return next(h["lesions"] for h in answer["localisation"]["hypotheses"] if lesion_set(h["lesions"]) == leader)


def at(record, path):
    for part in path.split("/"):
        record = record.get(part) if isinstance(record, dict) else None
    return record


def evidence(record, root):
    return sorted({what for what, path in EVIDENCE if at(record, path.format(root=root)) is not None})


class Tally:
    def __init__(self):
        self.n = self.first = self.third = 0
        self.overlap = 0.0

    def add(self, at1, at3, overlap):
        self.n, self.first, self.third = self.n + 1, self.first + at1, self.third + at3
        self.overlap += overlap

    def __str__(self):
        return (f"n {self.n:3}  exact@1 {self.first / self.n:.3f}  exact@3 {self.third / self.n:.3f}  "
                f"F1 {self.overlap / self.n:.3f}")


def load(folder):
    for path in sorted(glob.glob(os.path.join(folder, "*.json"))):
        with open(path, encoding="utf-8") as file:
            case = json.load(file)
        if case["strict"] and case["truth"]["lesions"]:
            yield case


def assess(binary, record):
    run = subprocess.run([binary, "assess", "-"], input=json.dumps(record), capture_output=True, text=True, timeout=60,
                         check=False)
    return None if run.returncode else json.loads(run.stdout)


def relations(case, answer, leader):
    """For each root with a stated relation: root, truth, P(torn | injured) by the answer's roots, what the first
    hypothesis says or None, evidence."""
    roots = {r["root"]: r for r in answer["localisation"]["roots"]}
    said = {x["name"]: x["relation"] for x in leading_lesions(answer, leader) if x["level"] == "root"}
    for lesion in case["truth"]["lesions"]:
        if lesion["level"] == "root" and lesion.get("relation") in ("preganglionic", "postganglionic"):
            r = roots[lesion["name"]]
            injured = r["p_preganglionic"] + r["p_postganglionic"]
            yield (lesion["name"], lesion["relation"], r["p_preganglionic"] / injured if injured else 0.5,
                   said.get(lesion["name"]), evidence(case["exam"], lesion["name"]))


def table(title, rows):
    print(f"\n{title}")
    for row in rows:
        print("  " + row)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--binary", default="build/rootward")
    parser.add_argument("--cases", default="../shared/cases")
    options = parser.parse_args()
    total, parts = Tally(), {"difficulty": {}, "region": {}}
    refused, confusions, pre_post, logs, held = 0, [], [], [], 0
    for case in load(options.cases):
        answer = assess(options.binary, case["exam"])
        if answer is None:
            refused += 1
            total.n += 1
            print(f"{case['id']:9} REFUSED")
            continue
        right = [lesion_set(case["truth"]["lesions"])] + [lesion_set(a) for a in case["truth"].get("acceptable", [])]
        ranks = ranked(answer)
        leader = ranks[0][0]
        places = [i for i, (s, _) in enumerate(ranks) if s in right]
        p_truth = sum(p for s, p in ranks if s in right)
        before = sum(p for s, p in ranks[:places[0]]) if places else 1.0
        held += before < 0.9
        logs.append(math.log10(max(p_truth, 1e-4)))
        score = (leader in right, bool(places) and places[0] < 3,
                 max(2 * len(leader & t) / (len(leader) + len(t)) for t in right))
        total.add(*score)
        for part, key in (("difficulty", case["difficulty"]), ("region", region(right[0]))):
            parts[part].setdefault(key, Tally()).add(*score)
        for row in relations(case, answer, leader):
            pre_post.append((case["id"], *row))
        rank = str(places[0] + 1) if places else "-"
        print(f"{case['id']:9} {case['difficulty']:6} rank {rank:>2}  p {p_truth:.3f}  truth: {words(right[0])} | "
              + "; ".join(f"{p:.2f} {words(s)}" for s, p in ranks[:3]))
        if not score[0]:
            confusions.append(f"{case['id']:9} {words(right[0])} -> {words(leader)}  (rank {rank}, {p_truth:.3f} "
                              f"against {ranks[0][1]:.3f})")
    if not total.n:
        print("no cases")
        return 1
    for part in parts:
        table("by " + part, [f"{key:16} {tally}" for key, tally in sorted(parts[part].items())])
    table("confusions (truth -> first)", confusions)
    table("torn from the cord or not (truth; P(torn | injured); what speaks to it)",
          [f"{i:9} {root} {truth:14} {p:.2f} {'' if (p > 0.5) == (truth == 'preganglionic') else 'WRONG'} "
           f"[{', '.join(why) or 'nothing'}]" for i, root, truth, p, _, why in pre_post])
    with_evidence = [(p > 0.5) == (truth == "preganglionic") for _, _, truth, p, _, why in pre_post if why]
    named = [said == truth for _, _, truth, _, said, _ in pre_post if said]
    print(f"\nwhere the exam carries evidence: {sum(with_evidence)}/{len(with_evidence)} roots right")
    print(f"mean log10 probability of the true set {sum(logs) / len(logs):.3f}; in the smallest 90 % set {held} of "
          f"{len(logs)}")
    print(f"cases {total.n}  refused {refused}  exact@1 {total.first / total.n:.3f}  exact@3 {total.third / total.n:.3f}"
          f"  F1 {total.overlap / total.n:.3f}  pre/post {sum(named)}/{len(named)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
