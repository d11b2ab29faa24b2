"""Reads the Parquet tables of a report on a lot with DuckDB and compares them with its other files.

Usage: check_tables.py REPORT LIST KIND [POINTS_CSV LOT WAFER DIE_X DIE_Y MEASUREMENT]

REPORT is the folder of the report, LIST the folder of the list of dies. For KIND `splitter` every point
is computed anew from the Touchstone file of its die. For KIND `receiver` POINTS_CSV is the table that
`downconverter` wrote for one die. Single precision keeps 24 bits: figures are compared to 3e-7 of their
size, and to 2e-5 where they are differences of larger numbers.
"""

import cmath
import csv
import math
import sys

import duckdb

TYPES = {
    "lot": "VARCHAR", "wafer": "VARCHAR", "die_x": "INTEGER", "die_y": "INTEGER",
    "measurement": "INTEGER", "counted": "BOOLEAN", "edge_excluded": "BOOLEAN",
    "frequency_hz": "DOUBLE", "lo_hz": "DOUBLE", "if_hz": "DOUBLE",
}
KEY = "lot, wafer, die_x, die_y, measurement"


def near(one, other, share=3e-7, absolute=2e-5):
    if math.isinf(one) or math.isinf(other):
        return one == other
    return abs(one - other) <= share * max(abs(one), abs(other)) + absolute


def types_of(table):
    return {name: kind for name, kind, *_ in duckdb.sql(f"describe from '{table}'").fetchall()}


def check_dies(report):
    """The same rows, columns and values as dies.csv: numbers bit by bit, nulls for empty fields."""
    rows = duckdb.sql(f"from '{report}/dies.parquet'")
    with open(f"{report}/dies.csv", newline="") as file:
        header, *listed = csv.reader(file)
    assert rows.columns == header, (rows.columns, header)
    found = rows.fetchall()
    assert len(found) == len(listed) > 0
    for row, fields in zip(found, listed):
        for name, value, field in zip(header, row, fields):
            if field == "":
                assert value is None, (name, value)
            elif isinstance(value, bool):
                assert field == str(value).lower(), (name, value, field)
            elif isinstance(value, (int, float)):
                assert float(field) == value and not math.isnan(value), (name, value, field)
            else:
                assert field == value, (name, value, field)
    types = types_of(f"{report}/dies.parquet")
    numbers = [name for name in header if name.endswith(("_db", "_hz", "_deg", "_dbm", "_mm"))]
    assert len(numbers) > 10 and all(types[name] == "DOUBLE" for name in numbers), types
    for name in ("die_x", "die_y", "measurement", "counted", "outlier"):
        assert types[name] == TYPES.get(name, "BOOLEAN"), (name, types[name])


def check_points(report, kind):
    """Types, no NaN, no null, and the worst of each die as in the table of dies."""
    points, dies = f"'{report}/points.parquet'", f"'{report}/dies.parquet'"
    for name, found in types_of(f"{report}/points.parquet").items():
        assert found == TYPES.get(name, "FLOAT"), (name, found)
        assert duckdb.sql(f"select count(*) from {points} where {name} is null").fetchall() == [(0,)]
        if found in ("FLOAT", "DOUBLE"):
            bad = duckdb.sql(f"select count(*) from {points} where isnan({name})").fetchall()
            assert bad == [(0,)], name
    phase = "phase_error_deg" if kind == "splitter" else "quadrature_error_deg"
    worst = duckdb.sql(f"""
        select status, worst_image_rejection_db, worst_phase_error_deg, worst_amplitude_imbalance_db,
               min(image_rejection_db), arg_max({phase}, abs({phase})),
               arg_max(amplitude_imbalance_db, abs(amplitude_imbalance_db)), count(image_rejection_db),
               any_value(p.counted), any_value(d.counted)
        from {dies} d left join {points} p using ({KEY})
        group by {KEY}, status, worst_image_rejection_db, worst_phase_error_deg,
                 worst_amplitude_imbalance_db""").fetchall()
    measured = 0
    for status, *expected, rejection, phase_deg, amplitude_db, count, has, want in worst:
        if status in ("incomplete", "error"):
            assert count == 0, (status, count)
            continue
        measured += 1
        assert has == want and count > 1
        for one, other in zip(expected, (rejection, phase_deg, amplitude_db)):
            assert near(one, other), (expected, rejection, phase_deg, amplitude_db)
    assert measured > 5, measured


def matrices(path):
    """Frequencies in hertz and matrices of a four-port in RI, as `demo-wafer` writes them."""
    numbers = []
    with open(path) as file:
        for line in file:
            text = line.split("!")[0].strip()
            if text.startswith("#"):
                assert text.upper().split() == ["#", "GHZ", "S", "RI", "R", "50"], text
            else:
                numbers += [float(number) for number in text.split()]
    for start in range(0, len(numbers), 33):
        frequency, *values = numbers[start:start + 33]
        entries = [complex(re, im) for re, im in zip(values[::2], values[1::2])]
        yield frequency * 1e9, [entries[row * 4:row * 4 + 4] for row in range(4)]


def check_splitters(report, folder):
    """Every point from its Touchstone file: input 1, outputs 2 and 3, in quadrature."""
    columns = "frequency_hz, image_rejection_db, amplitude_imbalance_db, phase_error_deg, " \
              "loss_a_db, loss_b_db"
    rows = duckdb.sql(f"""select hybrid, {columns} from '{report}/points.parquet'
                          join '{report}/dies.parquet' using ({KEY})""").fetchall()
    files = {}
    for file, *_ in rows:
        if file not in files:
            files[file] = {round(hz): matrix for hz, matrix in matrices(f"{folder}/{file}")}
    assert len(files) > 5
    for file, hz, rejection_db, imbalance_db, phase_deg, loss_a_db, loss_b_db in rows:
        a, b = files[file][round(hz)][1][0], files[file][round(hz)][2][0]
        ratio = b / a
        ideal = 1j if abs(cmath.phase(ratio / 1j)) < math.pi / 2 else -1j
        ratio /= ideal
        rejection = 20 * math.log10(abs(1 + ratio) / abs(1 - ratio))
        for found, expected in (
            (rejection_db, rejection),
            (imbalance_db, 20 * math.log10(abs(ratio))),
            (phase_deg, math.degrees(cmath.phase(ratio))),
            (loss_a_db, -20 * math.log10(abs(a))),
            (loss_b_db, -20 * math.log10(abs(b))),
        ):
            assert near(found, expected), (file, hz, found, expected)


def check_receiver(report, table, lot, wafer, die_x, die_y, measurement):
    """The points of one die as `downconverter` gives them."""
    with open(table, newline="") as file:
        expected = {(float(row["lo_hz"]), float(row["if_hz"])): row for row in csv.DictReader(file)}
    rows = duckdb.sql(f"""from '{report}/points.parquet' where lot = '{lot}' and wafer = '{wafer}'
        and die_x = {die_x} and die_y = {die_y} and measurement = {measurement}""")
    names, found = rows.columns, rows.fetchall()
    assert len(found) == len(expected) > 10, (len(found), len(expected))
    for row in found:
        row = dict(zip(names, row))
        other = expected[row["lo_hz"], row["if_hz"]]
        compared = [name for name in row if name.endswith(("_db", "_deg"))]
        has_losses = any(name.startswith("conversion_loss") for name in names)
        assert len(compared) == (8 if has_losses else 6), compared
        for name in compared:
            assert near(row[name], float(other[name])), (name, row[name], other[name])


def main():
    report, folder, kind, *more = sys.argv[1:]
    check_dies(report)
    check_points(report, kind)
    if kind == "splitter":
        check_splitters(report, folder)
    else:
        check_receiver(report, *more)


main()
