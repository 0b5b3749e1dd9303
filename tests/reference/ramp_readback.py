"""Reads the templates of `landfall ramp` back and compares them with circle geometry written here.

    python ramp_readback.py PATH_OF_LANDFALL

DXF through ezdxf, PDF through pypdf (1 pt = 25.4/72 mm by the PDF reference, ISO 32000), SVG as XML. The circle: a
take-off H high with radius R has its centre at (0, R); a deck t thick puts the panel's edge on radius R + t. An arc of
the roll-in has its centre on the normal at its start. Nothing of the program's own geometry is used but the choices.
"""

import csv
import io
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile
import tomllib
import xml.etree.ElementTree as ElementTree

import ezdxf
import pypdf
from pypdf.generic import ContentStream

MM_PER_PT = 25.4 / 72
FOOT = 304.8
worst = {}


def near(what, got, want, tolerance):
    off = abs(got - want)
    worst[what] = max(worst.get(what, 0.0), off)
    if not off <= tolerance:
        sys.exit(f"{what}: {got} where {want} was expected (tolerance {tolerance})")


def run(landfall, folder, *args):
    done = subprocess.run([landfall, "ramp", *args], cwd=folder, capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"landfall ramp {' '.join(args)}: exit code {done.returncode}\n{done.stderr}")
    return done.stdout


# --- DXF

def read_dxf(path):
    document = ezdxf.readfile(path)
    auditor = document.audit()
    if auditor.has_errors:
        sys.exit(f"{path}: {auditor.errors}")
    if document.header["$INSUNITS"] != 4:
        sys.exit(f"{path}: its units are not millimetres")
    found = {"LINE": [], "ARC": [], "TEXT": []}
    for entity in document.modelspace():
        found[entity.dxftype()].append(entity)
    return document, found


def outline_is_closed(found):
    ends = []
    for line in found["LINE"]:
        if line.dxf.layer == "CUT":
            ends += [line.dxf.start, line.dxf.end]
    for arc in found["ARC"]:
        if arc.dxf.layer == "CUT":
            ends += [arc.start_point, arc.end_point]
    for end in ends:
        others = sum(1 for other in ends if (other - end).magnitude < 1e-3)
        if others != 2:
            sys.exit(f"the outline is not closed at {end}")
    return len(ends) // 2


def check_panel_dxf(path, radius, height, deck, joist, spacing):
    """A take-off's panel. All in mm."""
    document, found = read_dxf(path)
    arcs = [arc for arc in found["ARC"] if arc.dxf.layer == "CUT"]
    assert len(arcs) == 1 and outline_is_closed(found) == 3
    arc = arcs[0]
    lip = math.acos(1 - height / radius)
    base = radius * math.sin(lip)
    edge = radius + deck
    foot = math.sqrt(2 * radius * deck + deck * deck)
    back = radius - math.sqrt(edge * edge - base * base)
    near("DXF, centre, radius and ends of the arc, mm", arc.dxf.center.x, 0.0, 1e-3)
    near("DXF, centre, radius and ends of the arc, mm", arc.dxf.center.y, radius, 1e-3)
    near("DXF, centre, radius and ends of the arc, mm", arc.dxf.radius, edge, 1e-3)
    # Angles are written to a millionth of a degree: 8e-5 mm at 4.6 m.
    for point, (x, z) in [(arc.start_point, (foot, 0.0)), (arc.end_point, (base, back))]:
        near("DXF, centre, radius and ends of the arc, mm", point.x, x, 1e-3)
        near("DXF, centre, radius and ends of the arc, mm", point.y, z, 1e-3)
    # Joists: four lines each, in order; the upper corners of those square to the deck are on the edge's chord.
    marks = [line for line in found["LINE"] if line.dxf.layer == "MARK"]
    square = []
    for line in marks:
        (a, b) = (line.dxf.start, line.dxf.end)
        if abs((b - a).magnitude - joist) < 1e-4:
            middle = (a + b) / 2
            off = math.hypot(middle.x, radius - middle.y) - edge
            # The chord's middle lies nearer to the centre by joist²/8R.
            if abs(off) < 1.0 and abs(b.y - a.y) > 1e-3:
                # The middle of a tangent as wide as the joist is on the edge.
                near("DXF, joists on the edge, mm", off, 0.0, 1e-3)
                square.append(math.atan2(middle.x, radius - middle.y) * radius)
    square.sort()
    assert len(square) > 10, square
    for a, b in zip(square[1:], square[2:]):
        near("DXF, joists apart along the surface, mm", b - a, spacing, 1e-2)
    return document, (foot, base, back, edge)


# --- PDF

def multiply(m, n):
    """m first, then n."""
    a, b, c, d, e, f = m
    p, q, r, s, t, u = n
    return (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u)


def apply(m, x, y):
    return (m[0] * x + m[2] * y + m[4]) * MM_PER_PT, (m[1] * x + m[3] * y + m[5]) * MM_PER_PT


def read_page(reader, page):
    """Lines, cubics, texts and the clip of a page, in mm from its lower left corner."""
    lines, cubics, texts, clip = [], [], [], None
    matrix, stack, at, rectangle, text_at = (1, 0, 0, 1, 0, 0), [], None, None, (0, 0)
    path = []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        values = [float(v) for v in operands if isinstance(v, (int, float)) or hasattr(v, "as_numeric")]
        operator = operator.decode()
        if operator == "q":
            stack.append(matrix)
        elif operator == "Q":
            matrix = stack.pop()
        elif operator == "cm":
            matrix = multiply(tuple(values), matrix)
        elif operator == "m":
            at = apply(matrix, *values)
        elif operator == "l":
            end = apply(matrix, *values)
            path.append(("l", at, end))
            at = end
        elif operator == "c":
            points = [apply(matrix, *values[i:i + 2]) for i in (0, 2, 4)]
            path.append(("c", at, *points))
            at = points[2]
        elif operator == "re":
            x, y, w, h = values
            rectangle = (*apply(matrix, x, y), *apply(matrix, x + w, y + h))
        elif operator == "W":
            clip = rectangle
        elif operator in ("S", "n"):
            for piece in path:
                (lines if piece[0] == "l" else cubics).append(piece[1:])
            path = []
        elif operator == "Tm":
            text_at = apply(matrix, values[4], values[5])
        elif operator == "Tj":
            texts.append((text_at, str(operands[0])))
    return lines, cubics, texts, clip


def on_cubic(points, t):
    s = 1 - t
    weights = (s ** 3, 3 * s * s * t, 3 * s * t * t, t ** 3)
    return tuple(sum(w * p[i] for w, p in zip(weights, points)) for i in (0, 1))


def has_bar(lines):
    return any(abs(math.dist(a, b) - 100) < 0.01 for a, b in lines)


def check_whole_pdf(path, document, centre, edge):
    reader = pypdf.PdfReader(path)
    assert len(reader.pages) == 1
    page = reader.pages[0]
    low = document.header["$EXTMIN"]
    high = document.header["$EXTMAX"]
    # 15 mm of margin round the same drawing.
    near("PDF, size of the page, mm", float(page.mediabox.width) * MM_PER_PT, high[0] - low[0] + 30, 0.01)
    near("PDF, size of the page, mm", float(page.mediabox.height) * MM_PER_PT, high[1] - low[1] + 30, 0.01)
    lines, cubics, _, _ = read_page(reader, page)
    assert has_bar(lines) and cubics
    for cubic in cubics:
        for i in range(21):
            x, y = on_cubic(cubic, i / 20)
            x, y = x + low[0] - 15, y + low[1] - 15
            # Single precision of points: 10,000 pt to 5e-4 pt.
            near("PDF, points of the arc, mm", math.hypot(x - centre[0], y - centre[1]), edge, 0.01)


def check_tiled_pdf(path, paper, foot, base, radius, edge):
    reader = pypdf.PdfReader(path)
    origin = None
    covered = []
    steps = None
    names = set()
    for number, page in enumerate(reader.pages):
        near("PDF, paper, mm", float(page.mediabox.width) * MM_PER_PT, paper[0], 0.01)
        near("PDF, paper, mm", float(page.mediabox.height) * MM_PER_PT, paper[1], 0.01)
        lines, cubics, texts, clip = read_page(reader, page)
        assert has_bar(lines), f"page {number + 1} has no bar of 100 mm"
        if number == 0:
            continue
        name = next(text for _, text in texts if re.fullmatch(r"[A-Z]{1,2}\d+", text))
        assert name not in names
        names.add(name)
        row, column = ord(name[0]) - ord("A"), int(name[1:]) - 1
        # Crosses: level lines of 8 mm whose middle an upright one of 8 mm shares.
        middles = lambda axis: [
            tuple((a[i] + b[i]) / 2 for i in (0, 1))
            for a, b in lines
            if abs(math.dist(a, b) - 8) < 1e-3 and abs(a[1 - axis] - b[1 - axis]) < 1e-6
        ]
        crosses = [p for p in middles(0) if any(math.dist(p, q) < 1e-3 for q in middles(1))]
        assert len(crosses) == 4, (name, crosses)
        cross = (min(p[0] for p in crosses), min(p[1] for p in crosses))
        step = (max(p[0] for p in crosses) - cross[0], max(p[1] for p in crosses) - cross[1])
        if steps is None:
            # The first sheet holds the panel's foot: the left end of the base line, which is the longest level line.
            assert (row, column) == (0, 0)
            steps = step
            level = [sorted((a, b)) for a, b in lines if abs(a[1] - b[1]) < 1e-6]
            left = max(level, key=lambda line: line[1][0] - line[0][0])[0]
            origin = (foot - (left[0] - cross[0]), -(left[1] - cross[1]))
        for i in (0, 1):
            near("PDF, sheets' step, mm", step[i], steps[i], 1e-3)
            # Neighbours share 10 mm: the window is 5 mm larger than the crosses on each side.
            near("PDF, overlap, mm", cross[i] - clip[i], 5.0, 1e-3)
            near("PDF, overlap, mm", clip[i + 2] - cross[i] - step[i], 5.0, 1e-3)
        for cubic in cubics:
            for i in range(401):
                x, y = on_cubic(cubic, i / 400)
                if not (clip[0] <= x <= clip[2] and clip[1] <= y <= clip[3]):
                    continue
                x = origin[0] + steps[0] * column + x - cross[0]
                y = origin[1] + steps[1] * row + y - cross[1]
                near("PDF tiles, points of the arc, mm", math.hypot(x, radius - y), edge, 0.02)
                covered.append(x)
    covered.sort()
    gap = max(b - a for a, b in zip([foot, *covered], [*covered, base]))
    assert gap < 5, f"the sheets leave {gap} mm of the arc out"
    return len(reader.pages)


def check_svg(path, foot, base, back, edge):
    root = ElementTree.parse(path).getroot()
    box = [float(v) for v in root.get("viewBox").split()]
    for name, value in (("width", box[2]), ("height", box[3])):
        assert root.get(name).endswith("mm")
        near("SVG, size, mm", float(root.get(name)[:-2]), value, 1e-3)
    arcs = [p.get("d") for p in root.iter("{http://www.w3.org/2000/svg}path")]
    assert len(arcs) == 1
    x0, y0, rx, ry, _, large, sweep, x1, y1 = map(float, re.findall(r"-?[\d.]+", arcs[0]))
    for got, want in [(x0, foot), (-y0, 0), (x1, base), (-y1, back), (rx, edge), (ry, edge)]:
        near("SVG, arc, mm", got, want, 1e-3)
    assert (large, sweep) == (0, 0)


def check_offsets(text, radius, height, deck):
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["part"] == "take-off"]
    lip = math.acos(1 - height / radius)
    base = radius * math.sin(lip)
    near("offsets, m", float(rows[-1]["x_m"]), base, 2e-6)
    near("offsets, m", float(rows[-1]["along_m"]), radius * lip, 2e-6)
    assert len(rows) > base / 0.05
    for row in rows:
        x = float(row["x_m"])
        # x itself is rounded to a micrometre, and the face is at most 85° steep.
        near("offsets, m", float(row["surface_m"]), radius - math.sqrt(radius ** 2 - min(x, base) ** 2), 4e-6)
        near("offsets, m", float(row["along_m"]), radius * math.asin(x / radius), 4e-6)
        if row["edge_m"]:
            want = radius - math.sqrt((radius + deck) ** 2 - x ** 2)
            near("offsets, m", float(row["edge_m"]), want, 4e-6)
        else:
            assert x < math.sqrt(2 * radius * deck + deck ** 2)


def arcs_of(path):
    """(name, start angle, turn, radius, start height) of every arc of a site's list of sections, in mm, rad.

    From the stated lengths, slopes and turns alone; an arc that passes level is two parts, split there.
    """
    with open(path, "rb") as file:
        sections = tomllib.load(file)["roll_in"]["section"]
    number = lambda text: float(text.split()[0])
    angle, z, chain = 0.0, 0.0, []
    if "straight" in sections[0] and "slope" in sections[0]:
        angle = -math.radians(number(sections[0]["slope"]))
    for section in sections:
        if "straight" in section:
            z += 1e3 * number(section["straight"]) * math.sin(angle)
            continue
        radius, turn = 1e3 * number(section["arc"]), math.radians(number(section["turn"]))
        turns = [turn]
        if angle * (angle + turn) < -1e-9:
            turns = [-angle, turn + angle]
        for part in turns:
            chain.append((f"transition-{len(chain) + 1}", angle, part, radius, z))
            z += math.copysign(radius, part) * (math.cos(angle) - math.cos(angle + part))
            angle += part
    # The chain ends at the height of the take-off's foot.
    return [(name, angle, turn, radius, height - z) for name, angle, turn, radius, height in chain]


def check_transitions(landfall, folder, path):
    """Edges of ribs and panels under a list of sections: centre, radius, angle; a rib is 300 mm deep."""
    sheet = json.loads(run(landfall, folder, str(path), "--format", "json"))
    kinds = {part["name"]: part["kind"] for part in sheet["parts"]}
    chain = arcs_of(path)
    assert [*kinds] == [name for name, *_ in chain] + ["take-off"], (kinds, chain)
    for name, start, turn, radius, height in chain:
        file = f"{name}.dxf"
        run(landfall, folder, str(path), "--part", name, "--template", file, "--output", "out.txt")
        _, found = read_dxf(folder / file)
        outline_is_closed(found)
        arcs = [arc for arc in found["ARC"] if arc.dxf.layer == "CUT"]
        bend = math.copysign(1, turn)
        centre = (-bend * radius * math.sin(start), height + bend * radius * math.cos(start))
        rib = kinds[name] == "rib"
        wanted = [radius + bend * 18] + ([radius + bend * 318] if rib else [])
        assert len(arcs) == len(wanted)
        for arc, want in zip(arcs, wanted):
            # Single precision of the core at 6 m and 10 m: 1e-3 mm, summed over the chain.
            near("DXF, transitions, mm", arc.dxf.radius, want, 5e-3)
            near("DXF, transitions, mm", arc.dxf.center.x, centre[0], 5e-3)
            near("DXF, transitions, mm", arc.dxf.center.y, centre[1], 5e-3)
            if rib:
                swept = math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360)
                near("DXF, angle of ribs, rad", swept, abs(turn), 1e-6)
    return [*kinds.values()].count("rib")


def main():
    landfall = str(pathlib.Path(sys.argv[1]).resolve())
    sites = pathlib.Path(__file__).resolve().parent / "sites"
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        # The demo's take-off: 8 ft to 15 ft; deck 18 mm, joists 45 mm thick and 200 mm apart are the stated defaults.
        radius, height, deck = 15 * FOOT, 8 * FOOT, 18.0
        run(landfall, folder, "--demo", "--template", "t.dxf", "--template", "t.svg", "--template", "t.pdf", "--output", "t.txt")
        document, (foot, base, back, edge) = check_panel_dxf(folder / "t.dxf", radius, height, deck, 45.0, 200.0)
        check_whole_pdf(folder / "t.pdf", document, (0.0, radius), edge)
        check_svg(folder / "t.svg", foot, base, back, edge)
        pages = []
        for paper, size in (("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))):
            run(landfall, folder, "--demo", "--template", "tiles.pdf", "--tiles", paper, "--output", "t.txt")
            pages.append(check_tiled_pdf(folder / "tiles.pdf", size, foot, base, radius, edge))
        text = run(landfall, folder, "--demo", "--format", "csv", "--table", "offsets", "--offsets", "50 mm")
        check_offsets(text, radius / 1e3, height / 1e3, deck / 1e3)
        names = ("02_birch_deck", "03_roller_lane", "30_kicker_crest")
        ribs = sum(check_transitions(landfall, folder, sites / f"{name}.toml") for name in names)
        assert ribs >= 5
    for what, off in sorted(worst.items()):
        print(f"{what}: within {off:.2g}")
    print(f"templates read back: {pages[0]} pages of A4, {pages[1]} of Letter, {ribs} ribs")


if __name__ == "__main__":
    main()
