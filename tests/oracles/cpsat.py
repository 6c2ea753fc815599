"""The optimum by CP-SAT, in whole numbers throughout."""

from __future__ import annotations

from time import perf_counter

from ortools.sat.python import cp_model

from tests.oracles.instance import Answer, Instance
from tests.oracles.program import Program, Terms, formulate, sum_levels


def solve(
    instance: Instance,
    *,
    seconds: float | None = None,
    form: str = "auto",
    workers: int = 1,
    one_sum: bool = False,
) -> Answer | None:
    """The exact lexicographic optimum, level by level or in one sum; None when `seconds` ran out."""
    build_s = solve_s = 0.0
    for keep_all in (True, False):
        started = perf_counter()
        program = formulate(instance, keep_all=keep_all, form=form)
        program = sum_levels(program) if one_sum else program
        model = _Model(program, workers=workers)
        build_s += perf_counter() - started
        started = perf_counter()
        outcome = model.minimise_levels(None if seconds is None else seconds - solve_s)
        solve_s += perf_counter() - started
        if outcome == "out of time":
            return None
        if outcome == "infeasible":
            continue
        answer = instance.audit(program.decode(model.ones))
        if keep_all and answer.kept != instance.everything:
            raise AssertionError("CP-SAT left a request out of a program that demands them all")
        return Answer(
            answer.kept, answer.tubes, answer.blood_ul, answer.preference, answer.packing,
            build_s, solve_s, program.form,
        )  # fmt: skip
    raise AssertionError("keeping nothing is always possible")


class _Model:
    """One CP-SAT model; exactly-one and at-most-one rows are given as such."""

    def __init__(self, program: Program, *, workers: int) -> None:
        self.program = program
        self.ones: set[int] = set()
        self.model = cp_model.CpModel()
        self.variables = [self.model.new_bool_var("") for _ in range(program.count)]
        self.impossible = False
        for row in program.rows:
            self._add(row.terms, row.low, row.high)
        self.solver = cp_model.CpSolver()
        self.solver.parameters.num_workers = workers
        if program.form == "assignment":
            # Without the full linear relaxation one worker can search bins for minutes.
            self.solver.parameters.linearization_level = 2

    def _add(self, terms: Terms, low: int | None, high: int | None) -> None:
        chosen = [self.variables[j] for j, _ in terms]
        if not terms:
            self.impossible = self.impossible or (low or 0) > 0
        elif high == 1 and all(c == 1 for _, c in terms) and low in (None, 1):
            if low == 1:
                self.model.add_exactly_one(chosen)
            else:
                self.model.add_at_most_one(chosen)
        else:
            total = cp_model.LinearExpr.weighted_sum(chosen, [c for _, c in terms])
            if high is not None:
                self.model.add(total <= high)
            if low is not None:
                self.model.add(total >= low)

    def minimise_levels(self, seconds: float | None) -> str:
        """Minimise each level with the earlier ones fixed: `optimal`, `infeasible` or `out of time`."""
        if self.impossible:
            return "infeasible"
        started = perf_counter()
        for number, terms in enumerate(self.program.levels):
            if seconds is not None:
                left = seconds - (perf_counter() - started)
                if left <= 0:
                    return "out of time"
                self.solver.parameters.max_time_in_seconds = left
            if number > 0:
                reached = self.program.levels[number - 1]
                value = sum(c for j, c in reached if j in self.ones)
                self._add(reached, None, value)
                self.model.clear_hints()  # type: ignore[no-untyped-call]
                for j, variable in enumerate(self.variables):
                    self.model.add_hint(variable, j in self.ones)
            if number > 0 and not terms:
                continue
            outcome = self._run(terms)
            if outcome != "optimal":
                return outcome
        return "optimal"

    def _run(self, terms: Terms) -> str:
        chosen = [self.variables[j] for j, _ in terms]
        self.model.minimize(cp_model.LinearExpr.weighted_sum(chosen, [c for _, c in terms]))
        status = self.solver.solve(self.model)
        if status == cp_model.INFEASIBLE:
            return "infeasible"
        if status == cp_model.OPTIMAL:
            self.ones = {j for j, v in enumerate(self.variables) if self.solver.boolean_value(v)}
            return "optimal"
        if status in (cp_model.UNKNOWN, cp_model.FEASIBLE):
            return "out of time"
        raise AssertionError(f"CP-SAT stopped with {self.solver.status_name(status)}")
