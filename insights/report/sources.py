"""Where the methods come from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """One method's origin.

    Parameters
    ----------
    subject
        What it is used for here.
    reference
        Who, when, where. References are from general knowledge of the field unless the test of
        that method names what was read.
    """

    subject: str
    reference: str


SOURCES: tuple[Source, ...] = (
    Source(
        "Which jobs are the same unit:",
        "Fellegi and Sunter 1969, Journal of the American Statistical Association 64.",
    ),
    Source(
        "Share back by day:",
        "Kaplan and Meier 1958, Journal of the American Statistical Association 53; Aalen and "
        "Johansen 1978, Scandinavian Journal of Statistics 5.",
    ),
    Source(
        "Bounds where few came back:",
        "Clopper and Pearson 1934, Biometrika 26, on the effective number of jobs.",
    ),
    Source(
        "Comebacks per unit, repeats counted:",
        "Nelson 1995, Technometrics 37; Lin, Wei, Yang and Ying 2000, Journal of the Royal "
        "Statistical Society B 62.",
    ),
    Source(
        "What a practice changes on like jobs:",
        "Hernan and Robins, Causal Inference: What If, chapters 12 and 13; Greenland and "
        "Mansournia 2015, Statistics in Medicine 34 (weak priors).",
    ),
    Source(
        "How strong an unknown reason would have to be:",
        "VanderWeele and Ding 2017, Annals of Internal Medicine 167.",
    ),
    Source(
        "Young months completed:",
        "chain ladder, and Bornhuetter and Ferguson 1972, Proceedings of the Casualty Actuarial "
        "Society 59.",
    ),
    Source(
        "Ranges of a quote:",
        "Jeffreys' beta posterior; predictive counts are beta-binomial inside the follow-up.",
    ),
    Source(
        "Groups compared with what their work would lead one to expect:",
        "Spiegelhalter 2005, Statistics in Medicine 24 (funnel limits); gamma-Poisson shrinkage.",
    ),
    Source(
        "Early warning:",
        "Gandy, Kvaloy, Bottle and Zhou 2010, Biometrika 97; Gandy and Kvaloy 2013, "
        "Scandinavian Journal of Statistics 40 (risk-adjusted CUSUM, limits by simulation).",
    ),
    Source(
        "Was the forecast right:",
        "Czado, Gneiting and Held 2009, Biometrics 65.",
    ),
)
