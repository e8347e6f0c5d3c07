"""Works that tests hold our values to, each named in one way.

Give ``f"{WORK}; section 2.1"`` as the source: what stands before the semicolon is counted.
"""

R_SURVIVAL = "R survival 3.5-3"
SURVIVAL_VIGNETTE = "Therneau, A package for survival analysis in R (vignette of survival 3.5-3)"
SOFTWARE_VALIDATION = (
    "Therneau, Software validation (vignette of survival 3.5-3); "
    "also Therneau and Grambsch 2000, appendix E"
)
MULTI_STATE_VIGNETTE = (
    "Therneau, Crowson and Atkinson, Multi-state models and competing risks "
    "(vignette of survival 3.5-3)"
)
NIST_HANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods"
GARWOOD = "Garwood 1936, Biometrika 28:437-442"
LIFELINES = "lifelines"
SCIKIT_LEARN = "scikit-learn"
SCIKIT_SURVIVAL = "scikit-survival"
SCIPY = "scipy"
STATSMODELS = "statsmodels"
