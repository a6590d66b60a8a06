"""One change in a Python source: which there are, and the source with one of them made. Pure.

Left out, since they change nothing that a test could ask for: docstrings, annotations, decorators, imports, what stands
in `raise`, in f-strings and in calls that only tell (errors, logs), the options in `ONLY_SPEED`, a tie of two
numbers that are measured, not counted, and None in the place of False, which no condition tells apart.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass

LIST = "list"
"""Kind of the mutants that take something from, or add something to, a list of names, signs or commands."""

COMPARISONS = {
    ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.GtE), ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.LtE),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}  # fmt: skip
ARITHMETIC = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
OTHER_NAME = {
    "fullmatch": "match", "match": "search", "max": "min", "min": "max", "any": "all", "all": "any",
    "floor": "ceil", "ceil": "floor", "head": "tail", "tail": "head", "first": "last", "startswith": "endswith",
    "issubset": "issuperset", "bisect_left": "bisect_right", "maximum": "minimum", "minimum": "maximum",
}  # fmt: skip
PASSES_THROUGH = {"abs", "sorted", "sqrt"}
STEPS = {
    "filter",
    "drop_nulls",
    "fill_null",
    "sort",
    "over",
    "abs",
    "strip",
    "upper",
    "lower",
    "clip",
    "unique",
}
ONLY_TELLS = re.compile(r"(Error|Fault|Refused|_refused|warn|log|info|debug|told|Field|TypeVar|sentence)$")
ONLY_SPEED = {
    "strict",
    "maintain_order",
    "compression_level",
    "maxsize",
    "indent",
    "dtype",
    "check_same_thread",
}
TIES = ({ast.Lt, ast.LtE}, {ast.Gt, ast.GtE})
COUNTED = re.compile(r"(?<![\w.])(?<!e-)\d+(?![\w.])|len\(|nights|count|passes|LONGEST|FIRST|LEAST")
ALTERNATIVE = re.compile(r"(?<![^|(])([A-Za-z0-9_]{2,12})(?=[|)]|$)")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: where (`name` of what it is in, line), what kind, the expression before and after, all source."""

    kind: str
    name: str
    line: int
    before: str
    after: str
    source: str


def mutants(source: str, forbids: bool = False) -> list[Mutant]:
    """Every mutant of a module, in the order of its lines. `forbids`: its lists say what may not be, not what may."""
    statements = [ast.Module([each], []) for each in ast.parse(source).body]
    written = [ast.unparse(each) for each in statements]
    found: dict[str, Mutant] = {}
    for nth, tree in enumerate(statements):
        for kind, name, owner, field, place, new in _changes(tree, "", False, forbids):
            holder = getattr(owner, field)
            old = holder if place is None else holder[place]
            is_part = isinstance(old, str | bytes | ast.operator | ast.cmpop | ast.boolop)
            before = _text(owner if is_part else old)
            _put(owner, field, place, new)
            text = ast.unparse(ast.fix_missing_locations(tree))
            after = _text(owner if is_part else new)
            _put(owner, field, place, old)
            text = "\n".join([*written[:nth], text, *written[nth + 1 :]])
            found.setdefault(text, Mutant(kind, name, getattr(owner, "lineno", 0), before, after, text))
    found.pop("\n".join(written), None)
    return sorted(found.values(), key=lambda mutant: (mutant.line, mutant.before, mutant.after))


def _put(owner, field, place, new) -> None:
    if place is None:
        setattr(owner, field, new)
    else:
        getattr(owner, field)[place] = new


def _text(node: object) -> str:
    if not isinstance(node, ast.AST):
        return repr(node)
    text = " ".join(ast.unparse(node).split()) if not isinstance(node, ast.Pass) else "(nothing)"
    return text if len(text) <= 160 else f"{text[:157]}…"


Change = tuple[str, str, ast.AST, str, int | None, object]


def _changes(node: ast.AST, name: str, top: bool, forbids: bool) -> Iterator[Change]:
    """Changes in everything below `node`; `top`: it is the value of a name of the module, so a list of its own."""
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list", "type_params", "bases"):
            continue
        several = isinstance(value, list)
        for place, child in enumerate(value) if several else [(None, value)]:
            if not isinstance(child, ast.AST) or _left_out(child, node):
                continue
            inside, at_top = name, top
            if isinstance(child, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef):
                inside, at_top = f"{name}.{child.name}".lstrip("."), False
            elif isinstance(child, ast.Assign | ast.AnnAssign) and not name:
                target = child.targets[0] if isinstance(child, ast.Assign) else child.target
                inside, at_top = ast.unparse(target), True
            for kind, new in _instead_of(child, node, at_top, forbids):
                yield kind, inside, node, field, place, new
            yield from _within(child, inside, at_top)
            yield from _changes(child, inside, at_top, forbids)


def _left_out(node: ast.AST, parent: ast.AST) -> bool:
    match node:
        case ast.Import() | ast.ImportFrom() | ast.JoinedStr() if not isinstance(
            parent, ast.Tuple | ast.List
        ):
            return not isinstance(node, ast.JoinedStr) or not isinstance(parent, ast.Assign)
        case ast.Expr(value=ast.Constant()):
            return True
        case ast.If(test=ast.Name(id="TYPE_CHECKING")):
            return True
        case ast.keyword(arg=str(option)):
            return option in ONLY_SPEED
        case ast.Call(func=ast.Name(id=called) | ast.Attribute(attr=called)):
            return ONLY_TELLS.search(called) is not None
    return False


def _instead_of(node: ast.AST, parent: ast.AST, top: bool, forbids: bool) -> Iterator[tuple[str, ast.AST]]:
    """What may stand in the place of `node`."""
    match node:
        case ast.Constant(value=bool(value)):
            yield "constant", ast.Constant(not value)
        case ast.Constant(value=int(value)):
            yield "constant", ast.Constant(value + 1)
        case ast.Constant(value=float(value)):
            yield "constant", ast.Constant(value * 2 if value else 1.0)
        case ast.Constant(value=str(value)) if isinstance(parent, ast.Compare):
            yield "constant", ast.Constant(value + "x")
        case ast.UnaryOp(op=ast.USub() | ast.Not(), operand=operand):
            yield "sign", operand
        case ast.BoolOp(op=op, values=values):
            yield "boolean", ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), values)
            for drop in range(len(values)):
                rest = values[:drop] + values[drop + 1 :]
                yield "boolean", rest[0] if len(rest) == 1 else ast.BoolOp(op, rest)
        case ast.IfExp(body=body, orelse=orelse):
            yield "boolean", body
            yield "boolean", orelse
        case ast.Return(value=value) if value is not None and ast.unparse(value) not in ("None", "False"):
            yield "return", ast.Return(ast.Constant(None))
        case ast.Expr(value=ast.Call()) | ast.Raise() | ast.AugAssign() | ast.Delete():
            yield "removed", ast.Pass()
        case ast.If(orelse=[]):
            yield "removed", ast.Pass()
        case ast.Continue():
            yield "removed", ast.Break()
        case ast.Call(func=ast.Name(id=called) | ast.Attribute(attr=called), args=[first, *_]) if (
            called in PASSES_THROUGH
        ):
            yield "removed", first
        case ast.Call(func=ast.Attribute(value=base, attr=called)) if called in STEPS:
            yield "removed", base
    of_a_name = isinstance(parent, ast.Assign | ast.AnnAssign | ast.BinOp | ast.Call | ast.Starred)
    if isinstance(node, ast.Set) or (top and of_a_name and isinstance(node, ast.Tuple | ast.List)):
        for drop in range(len(node.elts)) if len(node.elts) > 1 else ():
            rest = node.elts[:drop] + node.elts[drop + 1 :]
            yield LIST, type(node)(rest) if isinstance(node, ast.Set) else type(node)(rest, node.ctx)
    if isinstance(node, ast.Set) and all(isinstance(each, ast.Constant) for each in node.elts):
        numbers = [each.value for each in node.elts if type(each.value) is int]
        if numbers:
            yield LIST, ast.Set([*node.elts, ast.Constant(max(numbers) + 1)])
    if top and isinstance(node, ast.Dict):
        for drop in range(len(node.keys)) if len(node.keys) > 1 else ():
            yield (
                LIST,
                ast.Dict(
                    node.keys[:drop] + node.keys[drop + 1 :], node.values[:drop] + node.values[drop + 1 :]
                ),
            )
    if top and isinstance(node, ast.Constant) and isinstance(node.value, str | bytes):
        for text in _other_patterns(node.value, forbids):
            yield LIST, ast.Constant(text)


def _other_patterns(value: str | bytes, forbids: bool) -> Iterator[str | bytes]:
    """A text of a list with one alternative less, or changed so that more passes it (less, of one that forbids)."""
    text = value.decode("latin-1") if isinstance(value, bytes) else value
    others = []
    for found in ALTERNATIVE.finditer(text) if "|" in text else ():
        others.append(f"{text[: found.start()]}~{text[found.end() :]}")
    for found in () if forbids else re.finditer(r"\{\d+,(\d+)\}", text):
        others.append(f"{text[: found.start(1)]}{int(found[1]) + 1}{text[found.end(1) :]}")
    for found in re.finditer(r"\[[^\]]+\](?!\{)", text):
        others.append(f"{text[: found.start()]}{'~' if forbids else '.'}{text[found.end() :]}")
    for other in others:
        yield other.encode("latin-1") if isinstance(value, bytes) else other


def _within(node: ast.AST, name: str, top: bool) -> Iterator[Change]:
    """Changes of an operator or a name that belongs to `node`."""
    match node:
        case ast.Compare(ops=ops):
            for place, op in enumerate(ops):
                for other in COMPARISONS[type(op)]:
                    if {type(op), other} in TIES and not COUNTED.search(ast.unparse(node)):
                        continue
                    yield "comparison", name, node, "ops", place, other()
        case ast.BinOp(op=op, left=left, right=right) if type(op) in ARITHMETIC and not (
            _is_text(left) or _is_text(right)
        ):
            yield "arithmetic", name, node, "op", None, ARITHMETIC[type(op)]()
        case ast.AugAssign(op=op) if type(op) in ARITHMETIC:
            yield "arithmetic", name, node, "op", None, ARITHMETIC[type(op)]()
        case ast.Name(id=other) if other in OTHER_NAME and isinstance(node.ctx, ast.Load):
            yield "call", name, node, "id", None, OTHER_NAME[other]
        case ast.Attribute(attr=other) if other in OTHER_NAME:
            yield "call", name, node, "attr", None, OTHER_NAME[other]


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)
    )
