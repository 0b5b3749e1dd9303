"""A file of computed figures that is kept: written anew, or compared with what is computed now."""
import json
import math
import sys


def same(a, b, relative, absolute):
    if isinstance(a, dict):
        return isinstance(b, dict) and a.keys() == b.keys() and all(same(a[k], b[k], relative, absolute) for k in a)
    if isinstance(a, list):
        return isinstance(b, list) and len(a) == len(b) and all(same(x, y, relative, absolute) for x, y in zip(a, b))
    if isinstance(a, float) or isinstance(b, float):
        return math.isclose(a, b, rel_tol=relative, abs_tol=absolute)
    return a == b


def keep(file, fresh, relative, absolute):
    if "--check" in sys.argv:
        if not same(fresh, json.loads(file.read_text()), relative, absolute):
            sys.exit(f"{file.name}: recomputed values differ")
        print(f"{file.name}: recomputed values agree")
    else:
        file.write_text(json.dumps(fresh, indent=1) + "\n")
