"""A condition on the rows of a frame, worked out in three values: yes, no, and not recorded.

The condition is written as a pandas query (`first_session >= '2018-01-01' and sex != 'male'`).
pandas itself reads a blank as "no" in `==` and as "yes" in `!=`: whoever has no sex recorded
would be kept by `sex != 'male'`. Here a blank stays a blank, so that those of whom it cannot be
told can be counted. Nothing but the parts of a query is carried out.
"""

from __future__ import annotations

import ast
import operator
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analyses.study.study_errors import StudyError, unknown_name
from registry.schema import Patients, Sessions

CODES = (Patients.patient_id, Sessions.operator_id, Patients.site_id, "key")
"""Columns whose values never leave the service, in the words of a condition neither."""

COMPARE: dict[type[ast.cmpop], Callable[[Any, Any], Any]] = {
    ast.Eq: operator.eq, ast.NotEq: operator.ne, ast.Lt: operator.lt, ast.LtE: operator.le,
    ast.Gt: operator.gt, ast.GtE: operator.ge,
}
ARITHMETIC: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}
METHODS = ("isna", "notna", "isnull", "notnull", "isin", "between")
TEXT_METHODS = ("contains", "startswith", "endswith")
DAY = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
DATE_PARTS = ("year", "month", "quarter")


@dataclass(frozen=True)
class Condition:
    """A condition as it was written, and as it may be printed outside the service."""

    text: str
    tree: ast.expr

    @property
    def printed(self) -> str:
        """The condition without any code: `operator_id == 'a code'`."""
        return ast.unparse(_WithoutCodes().visit(ast.parse(self.text, mode="eval")).body)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns that it names, each once."""
        return tuple(dict.fromkeys(
            part.id for part in ast.walk(self.tree) if isinstance(part, ast.Name)))

    def of(self, frame: pd.DataFrame) -> pd.Series:
        """Yes, no or blank for every row of `frame` (dtype "boolean", its index).

        Raises UnknownName for a column that is not there, StudyError for what is no condition.
        """
        found = _Rows(frame, self.text).value(self.tree)
        if not isinstance(found, pd.Series) or not pd.api.types.is_bool_dtype(found.dtype):
            raise StudyError(f"“{self.text}” does not say yes or no of each row: compare a column "
                             "with a value, such as \"age_y >= 18\".")
        return found.astype("boolean")


def read_condition(text: str) -> Condition:
    """A condition as written. Raises StudyError where it is not one expression."""
    try:
        return Condition(text, ast.parse(text.strip(), mode="eval").body)
    except (SyntaxError, AttributeError, TypeError) as fault:
        raise StudyError(
            f"“{text}” cannot be read as a condition; write it as a pandas query, such as "
            "\"age_y >= 18 and sex == 'female'\".") from fault


class _WithoutCodes(ast.NodeTransformer):
    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        return _hidden(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        return _hidden(node)


def _hidden(node: ast.expr) -> ast.expr:
    if any(isinstance(part, ast.Name) and part.id in CODES for part in ast.walk(node)):
        for part in ast.walk(node):
            if isinstance(part, ast.Constant):
                part.value = "a code"
    return node


@dataclass(frozen=True)
class _Rows:
    """The parts of a condition worked out on a frame: Series for columns, plain values else."""

    frame: pd.DataFrame
    text: str

    def value(self, node: ast.expr) -> Any:
        if isinstance(node, ast.Constant):
            return node.value
        if isinstance(node, ast.Name):
            return self._column(node.id)
        if isinstance(node, ast.List | ast.Tuple | ast.Set):
            return [self.value(part) for part in node.elts]
        if isinstance(node, ast.BoolOp):
            return self._joined(node)
        if isinstance(node, ast.UnaryOp):
            return self._turned(node)
        if isinstance(node, ast.BinOp):
            return self._worked(node)
        if isinstance(node, ast.Compare):
            return self._compared(node)
        if isinstance(node, ast.Call):
            return self._called(node)
        if isinstance(node, ast.Attribute):
            return self._part_of_date(node)
        raise self._refused(node)

    def _refused(self, node: ast.AST) -> StudyError:
        return StudyError(
            f"“{ast.unparse(node)}” has no place in a condition; columns, values, comparisons, "
            f"and, or, not, in, and {', '.join(METHODS)} do.")

    def _column(self, name: str) -> pd.Series:
        if name == self.frame.index.name:
            return pd.Series(self.frame.index, index=self.frame.index, dtype="string")
        if name not in self.frame:
            raise unknown_name("column", name, self.frame.columns,
                               "All are in study.dictionary().")
        return _plain(self.frame[name])

    def _truth(self, node: ast.expr) -> pd.Series:
        found = self.value(node)
        if not isinstance(found, pd.Series) or not pd.api.types.is_bool_dtype(found.dtype):
            raise StudyError(f"“{ast.unparse(node)}” is no yes or no; compare it with a value.")
        return found.astype("boolean")

    def _joined(self, node: ast.BoolOp) -> pd.Series:
        join = operator.and_ if isinstance(node.op, ast.And) else operator.or_
        first, *others = (self._truth(part) for part in node.values)
        for other in others:
            first = join(first, other)
        return first

    def _turned(self, node: ast.UnaryOp) -> Any:
        if isinstance(node.op, ast.Not | ast.Invert):
            return ~self._truth(node.operand)
        if isinstance(node.op, ast.USub):
            return -self.value(node.operand)
        raise self._refused(node)

    def _worked(self, node: ast.BinOp) -> Any:
        if isinstance(node.op, ast.BitAnd | ast.BitOr):
            join = operator.and_ if isinstance(node.op, ast.BitAnd) else operator.or_
            return join(self._truth(node.left), self._truth(node.right))
        if type(node.op) not in ARITHMETIC:
            raise self._refused(node)
        try:
            return ARITHMETIC[type(node.op)](self.value(node.left), self.value(node.right))
        except TypeError:
            raise StudyError(f"“{ast.unparse(node)}” cannot be worked out: both sides must be "
                             "numbers.") from None

    def _compared(self, node: ast.Compare) -> pd.Series:
        sides = [self.value(node.left), *(self.value(part) for part in node.comparators)]
        names = [node.left, *node.comparators]
        found: pd.Series | None = None
        for place, sign in enumerate(node.ops):
            one = self._pair(sign, sides[place], sides[place + 1], names[place:place + 2], node)
            found = one if found is None else found & one
        assert found is not None
        return found

    def _pair(
        self, sign: ast.cmpop, left: Any, right: Any, names: list[ast.expr], node: ast.Compare,
    ) -> pd.Series:
        if not isinstance(left, pd.Series) and not isinstance(right, pd.Series):
            raise StudyError(f"“{ast.unparse(node)}” compares no column.")
        if isinstance(sign, ast.In | ast.NotIn) or isinstance(right, list):
            return self._among(sign, left, right, names, node)
        if not isinstance(left, pd.Series):
            left = self._same_sort(right, left, names[1], node)
        else:
            right = self._same_sort(left, right, names[0], node)
        if type(sign) not in COMPARE:
            raise self._refused(node)
        try:
            found = COMPARE[type(sign)](left, right)
        except TypeError:
            raise self._unlike(node) from None
        return _known(found, left, right)

    def _among(
        self, sign: ast.cmpop, left: Any, right: Any, names: list[ast.expr], node: ast.Compare,
    ) -> pd.Series:
        if not isinstance(left, pd.Series) or not isinstance(right, list):
            raise StudyError(f"“{ast.unparse(node)}”: write a column, in, and a list of values.")
        wanted = [self._same_sort(left, one, names[0], node) for one in right]
        found = left.isin(wanted).astype("boolean")
        if isinstance(sign, ast.NotIn | ast.NotEq):
            found = ~found
        return _known(found, left)

    def _same_sort(self, column: Any, value: Any, name: ast.expr, node: ast.expr) -> Any:
        """A value as the column's own sort: a day where it holds dates, one of its choices."""
        if isinstance(value, pd.Series) or not isinstance(column, pd.Series):
            return value
        if pd.api.types.is_datetime64_any_dtype(column.dtype):
            return _day(value)
        if pd.api.types.is_bool_dtype(column.dtype) != isinstance(value, bool):
            raise self._unlike(node)
        if pd.api.types.is_numeric_dtype(column.dtype) == isinstance(value, str):
            raise self._unlike(node)
        if isinstance(name, ast.Name):
            self._one_of_choices(name.id, value)
        return value

    def _unlike(self, node: ast.expr) -> StudyError:
        return StudyError(
            f"“{ast.unparse(node)}” compares values of two sorts: text is written in quotation "
            "marks, a number without, and yes or no as True or False.")

    def _one_of_choices(self, column: str, value: Any) -> None:
        """Refuse a word that this column can never hold: it would keep or drop everybody."""
        if column not in self.frame:
            return
        dtype = self.frame[column].dtype
        if not isinstance(value, str) or not isinstance(dtype, pd.CategoricalDtype):
            return
        if value not in list(dtype.categories):
            listed = ", ".join(map(str, dtype.categories))
            raise unknown_name(f"value of {column}", value, dtype.categories,
                               f"It can be: {listed}.")

    def _called(self, node: ast.Call) -> pd.Series:
        if not isinstance(node.func, ast.Attribute) or node.keywords:
            raise self._refused(node)
        name, owner = node.func.attr, node.func.value
        if name in TEXT_METHODS and isinstance(owner, ast.Attribute) and owner.attr == "str":
            return self._text(name, self.value(owner.value), node)
        if name not in METHODS:
            raise self._refused(node)
        column, given = self.value(owner), [self.value(one) for one in node.args]
        if name in ("isin", "between"):
            return self._within(name, column, given, owner, node)
        found: pd.Series = getattr(column, name)()
        return found.astype("boolean")

    def _within(
        self, name: str, column: pd.Series, given: list[Any], owner: ast.expr, node: ast.Call,
    ) -> pd.Series:
        values = given[0] if name == "isin" and given and isinstance(given[0], list) else given
        if name == "between" and len(values) != 2:
            raise StudyError(f"“{ast.unparse(node)}”: between takes two values.")
        same = [self._same_sort(column, one, owner, node) for one in values]
        found = column.isin(same) if name == "isin" else column.between(*same)
        return _known(found, column)

    def _text(self, name: str, column: pd.Series, node: ast.Call) -> pd.Series:
        given = [self.value(one) for one in node.args]
        if len(given) != 1 or not isinstance(given[0], str):
            raise self._refused(node)
        fixed = {"regex": False} if name == "contains" else {}
        return _known(getattr(column.astype("string").str, name)(given[0], **fixed), column)

    def _part_of_date(self, node: ast.Attribute) -> pd.Series:
        if node.attr in DATE_PARTS and isinstance(node.value, ast.Attribute) and (
                node.value.attr == "dt"):
            found: pd.Series = getattr(self.value(node.value.value).dt, node.attr)
            return found.astype("Int64")
        raise self._refused(node)


def _day(value: Any) -> pd.Timestamp:
    """A day from its text; 2018 alone is its first day."""
    try:
        if DAY.fullmatch(str(value)) and isinstance(value, str):
            return pd.Timestamp(value)
    except ValueError:
        pass
    raise StudyError(f"“{value}” is no date; write it year-month-day, such as '2018-01-01'.")


def _plain(column: pd.Series) -> pd.Series:
    """A column as its values: a grade as a number, a choice as text, all with blanks."""
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return column
    if pd.api.types.is_integer_dtype(column.cat.categories.dtype):
        return column.astype("Int64")
    return column.astype("string")


def _known(found: pd.Series, *sides: Iterable[Any] | Any) -> pd.Series:
    """The answer, blank where one of the compared columns is."""
    answer = found.astype("boolean")
    for side in sides:
        if isinstance(side, pd.Series):
            answer = answer.mask(side.isna())
    return answer
