"""Factors of the accepted units, worked out from the UCUM definitions in exact fractions.

    pip download --no-deps ucumvert==0.3.2
    unzip ucumvert-0.3.2-py3-none-any.whl ucumvert/vendor/ucum-essence.xml
    python3 ucum_factors.py ucumvert/vendor/ucum-essence.xml > ucum_factors.json

The file is the published ucum-essence.xml; its definitions are decimal and none of those used here is rounded, so each
factor is a quotient of whole numbers. Standard library only. Run it again when a unit is added to the table.
"""

import json
import re
import sys
import xml.etree.ElementTree as ET
from fractions import Fraction

PACKAGE = "ucumvert 0.3.2 (PyPI), ucumvert/vendor/ucum-essence.xml"
BASE = ("m", "s", "g", "rad", "K", "C", "cd")
# dimension: codes, the canonical one first
CODES = {
    "time": ["s", "min", "h", "ms", "d"],
    "length": ["mm", "cm", "m", "[in_i]", "[ft_i]"],
    "area": ["cm2", "mm2", "m2", "[sin_i]"],
    "volume": ["L", "cm3", "[cin_i]"],
    "mass": ["kg", "g", "[lb_av]", "[oz_av]"],
    "charge": ["A.h", "mA.h", "C"],
    "energy": ["W.h", "kW.h", "J", "kJ"],
    "voltage": ["V", "mV"],
    "current": ["A", "mA"],
    "resistance": ["mOhm", "Ohm", "uOhm"],
    "power": ["W", "kW", "[HP]"],
    "torque": ["N.m", "[ft_i].[lbf_av]", "[in_i].[lbf_av]", "kgf.cm", "kgf.m"],
    "force": ["N", "kgf", "[lbf_av]"],
    "temperature": ["Cel", "[degF]", "K"],
    "temperature_difference": ["K", "[degR]"],
    "rotational_speed": ["/min", "/s"],
    "frequency": ["Hz"],
    "density": ["kg/m3", "g/cm3", "[lb_av]/[cft_i]"],
    "stress": ["MPa", "[psi]"],
    "ratio": ["%", "1"],
    "count": ["1"],
    "linear_rate": ["mm/s", "mm/min", "[in_i]/min"],
    "c_rate": ["/h"],
    "specific_energy": ["J/cm3", "MJ/m3", "W.h/cm3"],
}


class Ucum:
    """The terms of UCUM that occur in the codes above: units, prefixes, exponents, '.' and '/' from left to right."""

    def __init__(self, path):
        self.root = ET.parse(path).getroot()
        tag = lambda name: "{http://unitsofmeasure.org/ucum-essence}" + name
        self.prefixes, self.units, self.metric = {}, {}, set()
        for prefix in self.root.iter(tag("prefix")):
            self.prefixes[prefix.get("Code")] = Fraction(prefix.find(tag("value")).get("value"))
        for unit in self.root.iter(tag("unit")):
            value = unit.find(tag("value"))
            function = value.find(tag("function"))
            # A special unit (Cel, degF) is the scale inside its function; zero points are checked elsewhere.
            source = value if function is None else function
            self.units[unit.get("Code")] = (Fraction(source.get("value")), source.get("Unit"))
            if unit.get("isMetric") == "yes":
                self.metric.add(unit.get("Code"))
        self.metric.update(BASE)

    def term(self, text):
        """(factor, exponents of the base units)"""
        factor, exponents = Fraction(1), [0] * len(BASE)
        for sign, part in re.findall(r"([./]?)((?:\[[^\]]*\]|[^./\[\]])+)", text):
            f, e = self.component(part)
            power = -1 if sign == "/" else 1
            factor *= f**power
            exponents = [a + power * b for a, b in zip(exponents, e)]
        return factor, exponents

    def component(self, part):
        if part.isdigit():
            return Fraction(part), [0] * len(BASE)
        if part in self.units or part in BASE:
            return self.atom(part)
        code, power = re.fullmatch(r"(.*?)([+-]?\d+)?", part).groups()
        factor, exponents = self.atom(code)
        power = int(power or 1)
        return factor**power, [power * e for e in exponents]

    def atom(self, code):
        if code in BASE:
            return Fraction(1), [int(code == base) for base in BASE]
        if code in ("10*", "10^"):
            return Fraction(10), [0] * len(BASE)
        if code in self.units:
            number, unit = self.units[code]
            factor, exponents = self.term(unit)
            return number * factor, exponents
        for prefix in sorted(self.prefixes, key=len, reverse=True):
            if code.startswith(prefix) and code[len(prefix):] in self.metric:
                factor, exponents = self.atom(code[len(prefix):])
                return self.prefixes[prefix] * factor, exponents
        raise KeyError(code)


def main(path):
    ucum = Ucum(path)
    rows = []
    for dimension, codes in CODES.items():
        canonical, base = ucum.term(codes[0])
        for code in codes:
            factor, exponents = ucum.term(code)
            assert exponents == base, (dimension, code, exponents, base)
            ratio = factor / canonical
            rows.append(
                {
                    "dimension": dimension,
                    "code": code,
                    "base": {b: e for b, e in zip(BASE, exponents) if e},
                    "to_base": float(factor),
                    "to_base_exact": str(factor),
                    "to_canonical_exact": str(ratio),
                }
            )
    header = {
        "source": PACKAGE,
        "ucum_version": ucum.root.get("version"),
        "ucum_date": ucum.root.get("revision-date"),
        "base_units": list(BASE),
        "made_by": "ucum_factors.py",
    }
    lines = ",\n    ".join(json.dumps(row) for row in rows)
    print(json.dumps(header, indent=2)[:-2] + ',\n  "units": [\n    ' + lines + "\n  ]\n}")


main(sys.argv[1])
