"""The loaders refuse each kind of fault; the bad files in tests/data/facts are named by family and fault."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cubital.errors import FactsError
from cubital.facts import cautions, defaults, directory, labels, orders, tubes, volumes
from cubital.facts.additives import (
    load_additives,
    load_clotting,
    load_fills,
    load_inversions,
    load_respin,
    load_spins,
)
from cubital.facts.analytes import load_analytes, load_interference
from cubital.facts.contaminants import load_contaminants, load_salts
from cubital.facts.gels import load_gels
from cubital.facts.hemolysis import load_hemolysis
from cubital.facts.keeping import load_drift, load_indices, load_keeping, load_receipt
from cubital.facts.moments import load_moments
from cubital.facts.name_words import load_name_words
from cubital.facts.paraphrases import load_paraphrases
from cubital.facts.reading import read_table
from cubital.facts.sources import load_sources
from cubital.facts.stopper_words import load_stopper_words
from cubital.facts.whole_blood import load_whole_blood

BAD = Path(__file__).parent.parent / "data" / "facts"

LOADERS: dict[str, Callable[..., Any]] = {
    "sources": load_sources,
    "additives": load_additives,
    "mixing": load_inversions,
    "clotting": load_clotting,
    "spinning": load_spins,
    "filling": load_fills,
    "tubes": tubes.load_tube_table,
    "order_of_draw": orders.load_order_policies,
    "tests": directory.load_tests_table,
    "ranks": directory.load_ranks,
    "panels": directory.load_panels_table,
    "ambiguous": directory.load_ambiguous,
    "elsewhere": directory.load_elsewhere,
    "name_words": load_name_words,
    "stopper_words": load_stopper_words,
    "paraphrases": load_paraphrases,
    "stability": directory.load_stability,
    "keeping": load_keeping,
    "drift": load_drift,
    "moments": load_moments,
    "indices": load_indices,
    "hemolysis": load_hemolysis,
    "respin": load_respin,
    "receipt": load_receipt,
    "blood_volumes": volumes.load_blood_volumes,
    "sampling_limits": volumes.load_sampling_limits,
    "loss_formulas": volumes.load_loss_formulas,
    "cultures": volumes.load_cultures,
    "hematocrits": volumes.load_hematocrits,
    "blood_loss": volumes.load_blood_loss,
    "accesses": cautions.load_accesses,
    "handling": cautions.load_handling_terms,
    "safety": cautions.load_safety,
    "label_stock": labels.load_label_stock,
    "label_content": labels.load_label_content,
    "edition": defaults.load_edition,
    "site": defaults.load_site,
    "salts": load_salts,
    "contaminants": load_contaminants,
    "analytes": load_analytes,
    "interference": load_interference,
    "whole_blood": load_whole_blood,
    "gels": load_gels,
}

# For each bad file: where the message must point, and a piece of what it must say.
FAULTS = {
    "sources__unknown_key": ("[a]", "unknown field `publisher`"),
    "sources__unknown_way_of_seeing": ("[a]", "'glanced'"),
    "sources__bare_value": ("[a]", "expected an entry"),
    "additives__no_mark": ("[none]", "missing required field `mark`"),
    "additives__mark_without_basis": ("[none]", "missing required field `basis`"),
    "additives__mark_without_source": ("[none]", "missing required field `source`"),
    "additives__unknown_source": ("[none]", "'nobody-1900'; expected a key of sources.toml"),
    "additives__unknown_source_deep_inside": ("[none]", "'nobody-1900'; expected a key of sources.toml"),
    "additives__published_on_a_recalled_source": ("[none]", "only recalled; expected basis 'memory'"),
    "additives__common_practice_with_a_source": ("[none]", "common-practice for both or neither"),
    "additives__unknown_family": ("[none]", "'magic'"),
    "additives__unknown_key": ("[none]", "unknown field `color`"),
    "additives__two_units_of_one_amount": ("[none]", "found 2 amounts; expected exactly one unit"),
    "additives__falling_range": ("[none]", "expected a rising range above 0"),
    "elsewhere__no_words": ("[urine]", "length >= 1"),
    "name_words__a_word_of_both_kinds": ("name_words__a_word_of_both_kinds.toml", "found 'level' in both"),
    "name_words__one_kind_alone": ("name_words__one_kind_alone.toml", "expected silent and qualifier"),
    "stopper_words__a_word_of_two_looks": ("[stoppers]", "found 'pale' twice"),
    "paraphrases__a_word_of_two_groups": ("[paraphrases]", "found 'ab' twice"),
    "paraphrases__a_group_of_one": ("[paraphrases]", "length >= 2"),
    "tests__two_of_one_name": ("[zinc-2]", "found 'Zinc', which [zinc] has too"),
    "tests__an_alias_that_is_the_name_of_another": ("[copper]", "found 'Z.I.N.C.', which [zinc] has too"),
    "panels__of_itself": ("[metals]", "found the panel itself among its tests"),
    "panels__of_another_panel": ("[elements]", "found the panel 'metals' among its tests"),
    "panels__two_of_one_name": ("[elements]", "found 'Metals', which [metals] has too"),
    "stability__shorter_than_its_own_clot_and_spin": ("[ferritin]", "no tube that the test accepts has clotted"),
    "mixing__chosen_outside_the_range": ("[none]", "expected low <= chosen <= high"),
    "mixing__no_rivals": ("[none]", "expected at least one count with its mark"),
    "mixing__range_that_no_rival_gives": ("[none]", "do not span the rivals"),
    "clotting__twice": ("[serum 1]", "twice; expected once"),
    "clotting__falling_range": ("[serum 0]", "expected a rising range above 0"),
    "clotting__no_marks": ("[serum 0]", "found no marks"),
    "clotting__unknown_family": ("[plasma]", "expected one of serum"),
    "clotting__empty": ("clotting__empty.toml", "found no [[serum]]"),
    "spinning__twice": ("[spin 1]", "twice; expected once"),
    "spinning__falling_range": ("[spin 0]", "expected a rising range above 0"),
    "spinning__falling_minutes": ("[spin 0]", "found 15 to 10 min; expected a rising range"),
    "spinning__no_marks": ("[spin 0]", "found no marks"),
    "filling__over_a_whole_tube": ("[fill 0]", "<= 100"),
    "tubes__no_source": ("[a]", "missing required field `from`"),
    "tubes__millilitres_as_microlitres": ("[a]", "found draw_ml 4000; expected millilitres"),
    "tubes__no_sizes": ("[a]", "found no sizes"),
    "tubes__no_dead_volume": ("[a]", "found no dead_volume_ul"),
    "tubes__unknown_additive": ("[a]", "'k4-edta'"),
    "tubes__two_kinds_with_one_mark": ("[b]", "'AA', which [a] has"),
    "order_of_draw__no_marks": ("[a]", "found no marks"),
    "order_of_draw__one_place_twice": ("[a]", "found none placed twice alike"),
    "order_of_draw__unknown_use": ("[a]", "'tea'"),
    "order_of_draw__silent_on_nothing": ("[a]", "found neither additive nor use"),
    "order_of_draw__refuses_nothing": ("[a]", "found neither additive nor use"),
    "tests__no_source": ("[a]", "missing required field `from`"),
    "tests__no_source_of_the_codes": ("[a]", "found no source for codes"),
    "tests__source_of_nothing": ("[a]", "found from.timed, which has no value beside it"),
    "tests__unknown_source": ("[a] from.accepts", "'nobody-1900'; expected a key of sources.toml"),
    "tests__note_that_is_not_text": ("[a]", "found a note that is not text"),
    "tests__minimum_over_volume": ("[a]", "found minimum_ul 21 over volume_ul 20"),
    "tests__handling_that_is_false": ("[a]", "found ice = False; expected true"),
    "tests__unknown_handling": ("[a]", "unknown field `icy`"),
    "tests__neither_accepts_nor_culture": ("[a]", "expected accepts, or culture"),
    "tests__repeated_entry": ("tests__repeated_entry.toml", "a name given twice"),
    "ranks__twice": ("[group 1]", "found 'zinc' ranked twice; expected each test once"),
    "ranks__unknown_rank": ("[group 0]", "'soon'"),
    "ranks__no_marks": ("[group 0]", "length >= 1"),
    "panels__no_source": ("[a]", "found no source for tests"),
    "panels__tests_and_series": ("[a]", "expected tests or series, and not both"),
    "panels__series_out_of_order": ("[a]", "expected rising times"),
    "ambiguous__one_meaning": ("[ambiguous]", "found 1 meanings of 'x'; expected two at least"),
    "ambiguous__unknown_table": ("[ambiguos]", "expected one of ambiguous"),
    "stability__no_marks": ("[a]", "found no marks"),
    "stability__negative_time": ("[a]", ">= 0"),
    "keeping__two_times": ("[claim 0]", "exactly one of limit_min, held_min and fails_min"),
    "keeping__longer_from_memory": ("[claim 0]", "nothing else may lengthen"),
    "keeping__twice": ("[claim 1]", "found a on-cells ambient of memory twice"),
    "drift__two_shapes": ("[drift 0]", "exactly one of percent_per_h, percent_per_d and steps"),
    "drift__falling_steps": ("[drift 0]", "expected rising times up to until_min"),
    "tests__moment_nobody_defines": ("[a]", "found moment 'full-moon'"),
    "tests__moment_of_a_whole_series": ("[a]", "a whole series"),
    "panels__anchor_without_series": ("[p]", "found anchor or of without series"),
    "panels__anchor_nobody_defines": ("[p]", "found anchor 'moonrise'"),
    "moments__no_time": ("[moment.peak]", "found no time"),
    "moments__falling_range": ("[moment.peak]", "expected a rising range"),
    "moments__no_marks": ("[moment.peak]", "marks"),
    "moments__one_draw_of_a_series": ("[moment.peak]", "expected two at least"),
    "moments__draws_that_fall_back": ("[moment.peak]", "each after the one before"),
    "moments__draws_and_a_window": ("[moment.peak]", "found draws beside a window"),
    "moments__unknown_anchor": ("[moment.peak]", "found anchor 'dosis'"),
    "moments__unknown_subject": ("[moment.peak]", "found of 'vanco'"),
    "moments__no_subject": ("[moment.peak]", "found no `of`"),
    "moments__unknown_need": ("[moment.peak]", "found needs 'trough'"),
    "moments__panel_twice": ("[moment.late]", "found panel 'levels'"),
    "moments__no_house_rules": ("[house]", "found [house] of"),
    "moments__unknown_family": ("[moments]", "found 'moments'"),
    "moments__recalled_source_called_published": ("[moment.peak]", "only recalled"),
    "indices__no_limit": ("[limit 0]", "found no limit"),
    "indices__comment_over_the_refusal": ("[limit 0]", "found a comment above the refusal"),
    "indices__twice": ("[limit 1]", "found hemolysis of a twice"),
    "indices__held_beside_a_comment": ("[limit 0]", "found held_to beside another limit"),
    "hemolysis__slope_of_nothing": ("[slope 0]", "expected rise_per_g or percent_per_g, one of them"),
    "hemolysis__slope_in_two_units": ("[slope 0]", "expected rise_per_g or percent_per_g, one of them"),
    "hemolysis__slope_down": ("[slope 0]", "above 0"),
    "hemolysis__unknown_analyte": ("[slope 0]", "expected a key of analytes.toml"),
    "hemolysis__skin_puncture_below_a_vein": ("[skin_puncture 0]", "expected 1 or more"),
    "hemolysis__skin_puncture_twice": ("[skin_puncture]", "found an analyte twice"),
    "hemolysis__no_limit_of_all": ("[every_test]", "Expected `object`, got `null`"),
    "hemolysis__band_of_nothing": ("[band]", "found 0 g/L; expected above 0"),
    "respin__no_marks": ("[gel_respin]", "length >= 1"),
    "receipt__twice": ("[check 1]", "found a twice"),
    "blood_volumes__guard_above_a_source": ("blood_volumes", "found guard 80000; expected the lowest"),
    "blood_volumes__ages_falling": ("blood_volumes", "found ages 30 to 30 d"),
    "sampling_limits__no_amount": ("[a]", "found no amount"),
    "sampling_limits__fraction_for_percent": ("[a]", "found 25 %"),
    "sampling_limits__weights_falling": ("[a]", "expected rising weights"),
    "cultures__no_adult": ("cultures", "missing required field `adult`"),
    "cultures__least_over_useful": ("cultures", "found least_ul 1000 over useful_ul 500"),
    "cultures__steps_without_a_last_row": ("cultures", "found no row above all weights"),
    "cultures__steps_that_fall": ("cultures", "falls as the weight rises"),
    "blood_loss__no_mark": ("[evidence 0]", "missing required field `mark`"),
    "loss_formulas__unknown_key": ("[formula 0]", "'cubic'"),
    "hematocrits__percent_for_fraction": ("[band 0]", "found fraction 45"),
    "accesses__no_marks": ("[line]", "marks"),
    "accesses__two_amounts_of_one_discard": ("[line]", "found ul and dead_space_multiple; expected one of them"),
    "accesses__amount_of_no_discard": ("[line]", "an amount of a discard that is not needed"),
    "accesses__push_pull_without_cycles": ("[line]", "expected them of push-pull, and of it alone"),
    "accesses__falling_cycles": ("[line]", "expected the lower first"),
    "accesses__caution_of_a_named_line_without_marks": ("[line]", "expected both or neither"),
    "handling__no_reason": ("[ice]", "missing required field `why`"),
    "safety__no_marks": ("[a]", "marks"),
    "label_stock__too_small_to_read": ("[a]", "expected 30 x 20 mm at least"),
    "label_stock__labels_off_the_paper": ("[a]", "found labels that end at 280.0 mm across"),
    "label_stock__labels_over_each_other": ("[a]", "found a pitch of 60.0 mm across"),
    "label_stock__edge_over_a_quarter": ("[a]", "expected at most a quarter of the height"),
    "label_stock__edge_below_nothing": ("[a]", "found edge_mm -1.0; expected 0 to 300 millimetres"),
    "label_stock__no_mark": ("[a]", "missing required field `from`"),
    "label_content__least_over_most": ("[name]", "found least_pt 7 over most_pt 6"),
    "label_content__no_marks": ("[name]", "found no marks"),
    "edition__not_a_date": ("[edition]", "found 'autumn'; expected a date"),
    "edition__a_number": ("[edition]", "found 2025; expected a date"),
    "site__default_without_a_mark": ("[from]", "found recovery with a value or a mark alone"),
    "site__no_planning": ("site__no_planning.toml", "found no [planning]"),
    "salts__no_way_of_weighing": ("[a]", "expected one of each at least"),
    "salts__unknown_ion": ("[a]", "'kryptonite'"),
    "contaminants__mass_without_its_basis": ("contaminants", "expected weighed_as with a mass"),
    "contaminants__basis_the_salt_does_not_have": ("[dose.k2-edta]", "as 'dihydrate'; expected one of anhydrous"),
    "contaminants__unknown_salt": ("[dose.k2-edta]", "expected a key of salts.toml"),
    "contaminants__falling_span": ("contaminants", "expected 0 < low <= typical <= high"),
    "contaminants__solution_without_its_ratio": ("contaminants", "expected blood_parts with amounts of a solution"),
    "analytes__allowable_error_of_nothing": ("[a]", "found neither amount nor percent"),
    "analytes__unit_that_is_not_si": ("[a]", "'mg/dL'"),
    "interference__loss_without_a_curve": ("interference", "expected ec50_mmol_per_l and slope"),
    "interference__unknown_analyte": ("[edta 0]", "expected a key of analytes.toml"),
    "interference__no_claim": ("interference", "found no [[claim]]"),
    "whole_blood__unknown_standing": ("[glucose]", "'good'"),
    "whole_blood__no_caution": ("[glucose]", "missing required field `caution`"),
    "whole_blood__no_volume": ("[glucose]", ">= 1"),
    "gels__no_marks": ("[zinc]", "length >= 1"),
    "gels__unknown_standing": ("[zinc]", "'rarely'"),
    "gels__time_of_a_test_that_never_goes_on_gel": ("[zinc]", "never goes on gel; expected none"),
    "any__not_utf8": ("any__not_utf8.toml", "not UTF-8"),
    "any__not_toml": ("any__not_toml.toml", "not TOML"),
}


def test_every_bad_file_has_its_expectation_and_every_loader_a_bad_file() -> None:
    assert {path.stem for path in BAD.glob("*.toml")} == set(FAULTS)
    assert {name.split("__")[0] for name in FAULTS} - {"any"} == set(LOADERS)


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_a_faulty_file_is_refused_with_its_place_and_what_was_expected(name: str) -> None:
    load = LOADERS.get(name.split("__")[0], load_sources)
    where, said = FAULTS[name]
    with pytest.raises(FactsError) as caught:
        load(read_table(f"{name}.toml", folder=BAD), file=f"{name}.toml")
    assert caught.value.where.startswith(f"{name}.toml")
    assert where in caught.value.where
    assert said in caught.value.message


def test_a_file_that_is_not_there_is_refused_by_name() -> None:
    with pytest.raises(FactsError, match=r"nowhere\.toml"):
        read_table("nowhere.toml")
