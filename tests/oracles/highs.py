"""The optimum by HiGHS; its floating-point answer is checked again in whole numbers."""

from __future__ import annotations

from time import perf_counter

import highspy
import numpy as np

from tests.oracles.instance import Answer, Instance
from tests.oracles.program import Program, Terms, formulate, sum_levels


def solve(
    instance: Instance,
    *,
    seconds: float | None = None,
    form: str = "auto",
    threads: int = 1,
    one_sum: bool = False,
) -> Answer | None:
    """The exact lexicographic optimum, level by level or in one sum; None when `seconds` ran out."""
    build_s = solve_s = 0.0
    for keep_all in (True, False):
        started = perf_counter()
        program = formulate(instance, keep_all=keep_all, form=form)
        program = sum_levels(program) if one_sum else program
        model = _Model(program, threads=threads)
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
            raise AssertionError("HiGHS left a request out of a program that demands them all")
        return Answer(
            answer.kept, answer.tubes, answer.blood_ul, answer.preference, answer.packing,
            build_s, solve_s, program.form,
        )  # fmt: skip
    raise AssertionError("keeping nothing is always possible")


class _Model:
    """One loaded HiGHS model."""

    def __init__(self, program: Program, *, threads: int) -> None:
        self.program = program
        self.ones: set[int] = set()
        self.highs = highspy.Highs()  # type: ignore[no-untyped-call]
        for option, value in (
            ("output_flag", False), ("threads", threads), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.5),
        ):  # fmt: skip
            self.highs.setOptionValue(option, value)
        count = program.count
        start, index, value_ = [0], [], []
        for row in program.rows:
            for j, coefficient in row.terms:
                index.append(j)
                value_.append(coefficient)
            start.append(len(index))
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = count, len(program.rows)
        lp.col_cost_ = self._cost(program.levels[0])
        lp.col_lower_, lp.col_upper_ = np.zeros(count), np.ones(count)
        endless = highspy.kHighsInf
        lp.row_lower_ = np.array([-endless if row.low is None else row.low for row in program.rows], float)
        lp.row_upper_ = np.array([endless if row.high is None else row.high for row in program.rows], float)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array(start, dtype=np.int32)
        lp.a_matrix_.index_ = np.array(index, dtype=np.int32)
        lp.a_matrix_.value_ = np.array(value_, dtype=float)
        lp.integrality_ = [highspy.HighsVarType.kInteger] * count
        self.highs.passModel(lp)

    def _cost(self, terms: Terms) -> np.ndarray:
        cost = np.zeros(self.program.count)
        for j, coefficient in terms:
            cost[j] = coefficient
        return cost

    def minimise_levels(self, seconds: float | None) -> str:
        """Minimise each level with the earlier ones fixed: `optimal`, `infeasible` or `out of time`."""
        started = perf_counter()
        for number, terms in enumerate(self.program.levels):
            if seconds is not None:
                left = seconds - (perf_counter() - started)
                if left <= 0:
                    return "out of time"
                self.highs.setOptionValue("time_limit", self.highs.getRunTime() + left)
            if number > 0:
                self._fix_and_aim(self.program.levels[number - 1], terms)
            outcome = self._run(terms)
            if outcome == "infeasible" and number > 0:
                # What the level before found keeps every row: 1.16.0 calls some of these infeasible in its presolve.
                self.highs.setOptionValue("presolve", "off")
                self.highs.clearSolver()
                outcome = self._run(terms)
                self.highs.setOptionValue("presolve", "choose")
                if outcome == "infeasible":
                    raise AssertionError("HiGHS calls a program infeasible that it solved a level before")
            if outcome != "optimal":
                return outcome
        return "optimal"

    def _fix_and_aim(self, reached: Terms, terms: Terms) -> None:
        value = sum(c for j, c in reached if j in self.ones)
        if reached:
            columns = np.array([j for j, _ in reached], dtype=np.int32)
            weights = np.array([c for _, c in reached], dtype=float)
            self.highs.addRow(-highspy.kHighsInf, float(value), len(reached), columns, weights)
        count = self.program.count
        self.highs.changeColsCost(count, np.arange(count, dtype=np.int32), self._cost(terms))
        self.highs.clearSolver()  # a start handed over by setSolution made 1.16.0 report a false optimum

    def _run(self, terms: Terms) -> str:
        if self.program.count == 0:
            return "infeasible" if any((row.low or 0) > 0 for row in self.program.rows) else "optimal"
        self.highs.run()
        status = self.highs.getModelStatus()
        if status == highspy.HighsModelStatus.kTimeLimit:
            return "out of time"
        if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
            return "infeasible"
        if status != highspy.HighsModelStatus.kOptimal:
            raise AssertionError(f"HiGHS stopped with {status}")
        values = self.highs.getSolution().col_value
        self.ones = {j for j, value in enumerate(values) if value > 0.5}
        self._check_in_whole_numbers(terms)
        return "optimal"

    def _check_in_whole_numbers(self, terms: Terms) -> None:
        value = sum(c for j, c in terms if j in self.ones)
        info = self.highs.getInfo()
        if abs(info.objective_function_value - value) > 0.01 or value - info.mip_dual_bound > 0.51:
            raise AssertionError(f"HiGHS reports {info.objective_function_value}, its columns say {value}")
        for row in self.program.rows:
            total = sum(c for j, c in row.terms if j in self.ones)
            if (row.low is not None and total < row.low) or (row.high is not None and total > row.high):
                raise AssertionError("HiGHS returned columns that break a row")
