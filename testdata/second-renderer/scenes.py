"""The list of scenes: rounds of fourteen, the pairs and traps of which change from round to round."""

ROUND = ["?-flat-bench", "fair-flat-rider", "poor-shell-rider", "good-shell-rider", "fair-journal-rider", "pair",
         "good-journal-rider", "poor-flat-rider", "trap", "?-raised-bench", "good-flat-rider", "poor-journal-rider",
         "fair-shell-rider", "?-raised-bench"]
PAIRS = ["good-pair-plate-bench", "good-pair-shell-bench", "fair-pair-plate-rider", "good-pair-journal-bench",
         "good-pair-plate-bench", "fair-pair-shell-bench", "good-pair-plate-rider", "good-pair-journal-bench",
         "fair-pair-plate-bench", "good-pair-shell-bench", "good-pair-plate-rider"]
TRAPS = ["rider-cable", "bench-bare", "rider-pen", "bench-strand", "rider-two", "bench-tape", "rider-groove",
         "bench-cableandstrip", "rider-screwdriver", "bench-wire", "rider-bare"]


def scenes(seed, count):
    """Name, class, kind and seed of the first count scenes from a seed."""
    for i in range(count):
        r, k = divmod(i, len(ROUND))
        name = ROUND[k]
        if name == "pair":
            name = PAIRS[r % len(PAIRS)]
        elif name == "trap":
            name = "fair-trap-flat-" + TRAPS[r % len(TRAPS)]
        cls, kind = name.split("-", 1)
        if cls == "?":
            cls = varied(kind, k, r)
        yield "c%02d-%02d-%s-%s" % (r, k, cls, kind), cls, kind, seed + 100 * r + k


def varied(kind, k, r):
    if kind == "flat-bench":
        return "fair" if r % 3 == 2 else "good"
    if r % 3 == 1:
        return "poor"
    return "fair" if k == 9 else "good"
