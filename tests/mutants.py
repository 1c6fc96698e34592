"""Deliberate sabotage of a rule's own source, one fault at a time."""

from __future__ import annotations

import ast
import copy
import inspect
import sys
from collections.abc import Iterator
from types import ModuleType

from audit.contract import Rule

FLIPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
}
JOINED: dict[type[ast.operator], type[ast.operator]] = {
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
ASKS = {"fillna", "notna", "isna", "isin", "eq", "ne", "gt", "ge", "lt", "le"}


def _is_filter(node: ast.AST) -> bool:
    """Whether the node is frame[condition]."""
    if not isinstance(node, ast.Subscript) or not isinstance(node.ctx, ast.Load):
        return False
    part = node.slice
    return (
        isinstance(part, ast.Compare)
        or (isinstance(part, ast.UnaryOp) and isinstance(part.op, ast.Invert))
        or (isinstance(part, ast.BinOp) and type(part.op) in JOINED)
        or (
            isinstance(part, ast.Call)
            and isinstance(part.func, ast.Attribute)
            and part.func.attr in ASKS
        )
    )


def sabotaged(node: ast.expr) -> tuple[str, ast.expr] | None:
    """What can be done to this node, and the node with it done; None where nothing."""
    new = copy.deepcopy(node)
    if isinstance(new, ast.Compare) and type(new.ops[0]) in FLIPPED:
        new.ops[0] = FLIPPED[type(new.ops[0])]()
        return "comparison flipped", new
    if isinstance(new, ast.BinOp) and type(new.op) in JOINED:
        new.op = JOINED[type(new.op)]()
        return "and/or swapped", new
    if isinstance(new, ast.Subscript) and _is_filter(new):
        inner = new.value
        loc = isinstance(inner, ast.Attribute) and inner.attr == "loc"
        return "filter dropped", inner.value if loc else inner  # type: ignore[attr-defined]
    if isinstance(new, ast.Call):
        for keyword in new.keywords:
            if keyword.arg == "how" and ast.unparse(keyword.value) == "'left'":
                keyword.value = ast.Constant("inner")
                return "left join made inner", new
        if isinstance(new.func, ast.Attribute) and new.func.attr == "fillna" and new.args:
            filled = new.args[0]
            if isinstance(filled, ast.Constant) and isinstance(filled.value, bool):
                new.args[0] = ast.Constant(not filled.value)
                return "fillna turned", new
    return None


class _Swap(ast.NodeTransformer):
    def __init__(self, place: int) -> None:
        self.place, self.seen, self.done = place, -1, ""

    def visit(self, node: ast.AST) -> ast.AST:
        if isinstance(node, ast.expr) and (change := sabotaged(node)) is not None:
            self.seen += 1
            if self.seen == self.place:
                self.done = f"{change[0]} at line {node.lineno}: {ast.unparse(node)[:70]}"
                return change[1]
        return super().visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        """A function within a function: its types do nothing."""
        node.body = [self.visit(statement) for statement in node.body]
        return node


def mutants(rule: Rule) -> Iterator[tuple[str, Rule]]:
    """Every mutant of the rule's function: what was done, and the rule with it."""
    module = sys.modules[rule.judge.__module__]
    source = inspect.getsource(module)
    for place in range(10_000):
        tree = ast.parse(source)
        swap = _Swap(place)
        for function in tree.body:
            if isinstance(function, ast.FunctionDef):
                function.body = [swap.visit(statement) for statement in function.body]
        if not swap.done:
            return
        code = compile(ast.fix_missing_locations(tree), module.__file__ or "rule", "exec")
        made = ModuleType(module.__name__)
        made.__file__ = module.__file__
        exec(code, made.__dict__)
        yield swap.done, getattr(made, rule.judge.__name__).rule
