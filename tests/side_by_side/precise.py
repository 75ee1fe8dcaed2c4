"""The random-effects answers in forty digits, to say who is right where two programs differ.

Nothing is shared with either program: decimal arithmetic, halving of a bracket, and for REML the likelihood itself
at every place where its slope changes sign.
"""

from decimal import Decimal, getcontext

getcontext().prec = 40
LN10 = Decimal(10).ln()


def sums(y, v, t):
    w = [1 / (x + t) for x in v]
    total = sum(w)
    mean = sum(a * b for a, b in zip(w, y)) / total
    r2 = [(a - mean) ** 2 for a in y]
    q = sum(a * b for a, b in zip(w, r2))
    w2 = [a * a for a in w]
    return {
        "mean": mean,
        "w": total,
        "q": q,
        "slope": sum(a * b for a, b in zip(w2, r2)) - (total - sum(w2) / total),
    }


def log_likelihood(y, v, t):
    at = sums(y, v, t)
    return -(sum((x + t).ln() for x in v) + at["w"].ln() + at["q"]) / 2


def falling_root(f, low, high):
    """Where f goes from above zero at `low` to below at `high`: halving, then secants kept inside the bracket."""
    f_low, f_high = f(low), f(high)
    for step in range(200):
        if high - low <= high * Decimal("1e-25"):
            break
        # Regula falsi with the Illinois weights; every fourth step halves.
        x = (low + high) / 2 if step % 4 == 3 else low + (high - low) * f_low / (f_low - f_high)
        fx = f(x)
        if fx > 0:
            low, f_low = x, fx
            f_high /= 2
        elif fx < 0:
            high, f_high = x, fx
            f_low /= 2
        else:
            return x
    return (low + high) / 2


def q_root(y, v, target):
    f = lambda t: sums(y, v, t)["q"] - target
    if f(Decimal(0)) <= 0:
        return Decimal(0)
    high = max(v) + sum(a * a for a in y)
    while f(high) > 0:
        high *= 10
    return falling_root(f, Decimal(0), high)


def reml(y, v):
    slope = lambda t: sums(y, v, t)["slope"]
    mean = sum(y) / len(y)
    scale = max(sum((a - mean) ** 2 for a in y) / (len(y) - 1), sum(v) / len(v))
    points = [Decimal(0)] + [scale * Decimal(10) ** (Decimal(i) / 4) for i in range(-40, 13)]
    values = [slope(t) for t in points]
    tops = [Decimal(0)] if values[0] <= 0 else []
    for (a, fa), (b, fb) in zip(zip(points, values), zip(points[1:], values[1:])):
        if fa > 0 >= fb:
            tops.append(falling_root(slope, a, b))
    return max(tops, key=lambda t: log_likelihood(y, v, t)), len(tops)


def dersimonian_laird(y, v):
    at = sums(y, v, Decimal(0))
    w2 = sum(1 / (x * x) for x in v)
    return max(Decimal(0), (at["q"] - (len(y) - 1)) / (at["w"] - w2 / at["w"]))


def answer(y, v, method, chi2_limits, t_quantile):
    """All numbers of one method; `chi2_limits` are the two quantiles of chi-squared, `t_quantile` that of t."""
    y, v = [Decimal(a) for a in y], [Decimal(a) for a in v]
    tops = 1
    if method == "REML":
        tau2, tops = reml(y, v)
    elif method == "DL":
        tau2 = dersimonian_laird(y, v)
    else:
        tau2 = q_root(y, v, Decimal(len(y) - 1))
    at = sums(y, v, tau2)
    se = 1 / at["w"].sqrt()
    half = Decimal(t_quantile) * se * (at["q"] / (len(y) - 1)).sqrt()
    found = {"estimate": at["mean"], "se": se, "tau2": tau2, "lower": at["mean"] - half, "upper": at["mean"] + half}
    if method == "REML":
        found["tau2_lower"] = q_root(y, v, Decimal(chi2_limits[1]))
        found["tau2_upper"] = q_root(y, v, Decimal(chi2_limits[0]))
    return found, tops
