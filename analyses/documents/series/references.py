"""The works that a document cites, found by their names in its text."""

from __future__ import annotations

import re
from collections.abc import Iterable

from analyses.content.blocks import (
    Caution,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.literature.published import PublishedSeries

WORKS = (
    ("Aalen", "1978", "Aalen OO, Johansen S. An empirical transition matrix for non-homogeneous "
     "Markov chains based on censored observations. Scand J Stat 1978;5:141–150."),
    ("Altman", "1998", "Altman DG. Confidence intervals for the number needed to treat. BMJ "
     "1998;317:1309–1312."),
    ("Armitage", "1955", "Armitage P. Tests for linear trends in proportions and frequencies. "
     "Biometrics 1955;11:375–386."),
    ("Austin", "2009", "Austin PC. Balance diagnostics for comparing the distribution of baseline "
     "covariates between treatment groups in propensity-score matched samples. Stat Med "
     "2009;28:3083–3107."),
    ("Barnard", "1999", "Barnard J, Rubin DB. Small-sample degrees of freedom with multiple "
     "imputation. Biometrika 1999;86:948–955."),
    ("Bell", "2002", "Bell RM, McCaffrey DF. Bias reduction in standard errors for linear "
     "regression with multi-stage samples. Surv Methodol 2002;28:169–181."),
    ("Boos", "1992", "Boos DD. On generalized score tests. Am Stat 1992;46:327–333."),
    ("Clopper", "1934", "Clopper CJ, Pearson ES. The use of confidence or fiducial limits "
     "illustrated in the case of the binomial. Biometrika 1934;26:404–413."),
    ("Dindo", "2004", "Dindo D, Demartines N, Clavien PA. Classification of surgical "
     "complications. Ann Surg 2004;240:205–213."),
    ("Efron", "1975", "Efron B, Morris C. Data analysis using Stein's estimator and its "
     "generalizations. J Am Stat Assoc 1975;70:311–319."),
    ("Firth", "1993", "Firth D. Bias reduction of maximum likelihood estimates. Biometrika "
     "1993;80:27–38."),
    ("Garwood", "1936", "Garwood F. Fiducial limits for the Poisson distribution. Biometrika "
     "1936;28:437–442."),
    ("Gray", "1988", "Gray RJ. A class of K-sample tests for comparing the cumulative incidence "
     "of a competing risk. Ann Stat 1988;16:1141–1154."),
    ("Hanley", "1983", "Hanley JA, Lippman-Hand A. If nothing goes wrong, is everything all "
     "right? JAMA 1983;249:1743–1745."),
    ("Harrell", "1996", "Harrell FE, Lee KL, Mark DB. Multivariable prognostic models: issues in "
     "developing models, evaluating assumptions and adequacy, and measuring and reducing errors. "
     "Stat Med 1996;15:361–387."),
    ("Heinze", "2002", "Heinze G, Schemper M. A solution to the problem of separation in logistic "
     "regression. Stat Med 2002;21:2409–2419."),
    ("Holm", "1979", "Holm S. A simple sequentially rejective multiple test procedure. Scand J "
     "Stat 1979;6:65–70."),
    ("Jayaraman", "2012", "Jayaraman MV, Meyers PM, Derdeyn CP, et al. Reporting standards for "
     "angiographic evaluation and endovascular treatment of cerebral arteriovenous malformations. "
     "J Neurointerv Surg 2012;4:325–330."),
    ("Higgins", "2009", "Higgins JPT, Thompson SG, Spiegelhalter DJ. A re-evaluation of "
     "random-effects meta-analysis. J R Stat Soc A 2009;172:137–159."),
    ("Joint Writing Group", "2001", "Joint Writing Group of the Technology Assessment Committee. "
     "Reporting terminology for brain arteriovenous malformation clinical and radiographic "
     "features for use in clinical trials. Stroke 2001;32:1430–1442."),
    ("Kaplan", "1958", "Kaplan EL, Meier P. Nonparametric estimation from incomplete "
     "observations. J Am Stat Assoc 1958;53:457–481."),
    ("Korn", "1998", "Korn EL, Graubard BI. Confidence intervals for proportions with small "
     "expected number of positive counts estimated from survey data. Surv Methodol "
     "1998;24:193–201."),
    ("Li", "2018", "Li F, Morgan KL, Zaslavsky AM. Balancing covariates via propensity score "
     "weighting. J Am Stat Assoc 2018;113:390–400."),
    ("Mancl", "2001", "Mancl LA, DeRouen TA. A covariance estimator for GEE with improved "
     "small-sample properties. Biometrics 2001;57:126–134."),
    ("Mondol", "2019", "Mondol MH, Rahman MS. Bias-reduced and separation-proof GEE with small or "
     "sparse longitudinal binary data. Stat Med 2019;38:2544–2560."),
    ("Newcombe", "1998", "Newcombe RG. Interval estimation for the difference between independent "
     "proportions: comparison of eleven methods. Stat Med 1998;17:873–890."),
    ("Parker", "2017", "Parker JD, Talih M, Malec DJ, et al. National Center for Health "
     "Statistics data presentation standards for proportions. Vital Health Stat 2 2017;(175)."),
    ("Puhr", "2017", "Puhr R, Heinze G, Nold M, Lusa L, Geroldinger A. Firth's logistic "
     "regression with rare events: accurate effect estimates and predictions? Stat Med "
     "2017;36:2302–2317."),
    ("Robins", "1994", "Robins JM, Rotnitzky A, Zhao LP. Estimation of regression coefficients "
     "when some regressors are not always observed. J Am Stat Assoc 1994;89:846–866."),
    ("Röver", "2021", "Röver C, Bender R, Dias S, et al. On weakly informative prior distributions "
     "for the heterogeneity parameter in Bayesian random-effects meta-analysis. Res Synth Methods "
     "2021;12:448–474."),
    ("Schemper", "1996", "Schemper M, Smith TL. A note on quantifying follow-up in studies of "
     "failure time. Control Clin Trials 1996;17:343–346."),
    ("Spetzler", "1986", "Spetzler RF, Martin NA. A proposed grading system for arteriovenous "
     "malformations. J Neurosurg 1986;65:476–483."),
    ("Spetzler", "2011", "Spetzler RF, Ponce FA. A 3-tier classification of cerebral "
     "arteriovenous malformations. J Neurosurg 2011;114:842–849."),
    ("Stijnen", "2010", "Stijnen T, Hamza TH, Özdemir P. Random effects meta-analysis of event "
     "outcome in the framework of the generalized linear mixed model with applications in sparse "
     "data. Stat Med 2010;29:3046–3067."),
    ("Turnbull", "1976", "Turnbull BW. The empirical distribution function with arbitrarily "
     "grouped, censored and truncated data. J R Stat Soc B 1976;38:290–295."),
    ("Ulm", "1990", "Ulm K. A simple method to calculate the confidence interval of a "
     "standardized mortality ratio. Am J Epidemiol 1990;131:373–375."),
    ("van Buuren", "2018", "van Buuren S. Flexible imputation of missing data. 2nd ed. Boca Raton: "
     "CRC Press; 2018."),
    ("VanderWeele", "2017", "VanderWeele TJ, Ding P. Sensitivity analysis in observational "
     "research: introducing the E-value. Ann Intern Med 2017;167:268–274."),
    ("Zou", "2008", "Zou GY, Donner A. Construction of confidence limits about effect measures: a "
     "general approach. Stat Med 2008;27:1693–1702."),
)
"""First author (or group), year, and the work as it is listed."""

NEAR = 60
"""Letters between a name and its year: `Korn and Graubard's (1998)`."""


def references_section(
    sections: Iterable[Section], series: Iterable[PublishedSeries] = (),
) -> Section:
    """The works named in the sections and the published series named there, in order of names.

    series: the lines of the table of published series; each paper is listed once, where its
    authors and year stand in a text, a cell or the words of a picture.
    """
    given = tuple(sections)
    said = " ".join(text for section in given for text in texts_of(section))
    cited = [work for name, year, work in WORKS
             if re.search(rf"\b{re.escape(name)}\b.{{0,{NEAR}}}?\b{year}\b", said)]
    everywhere = " ".join([said, *(text for section in given for text in _also_named(section))])
    papers = dict.fromkeys(_paper(line) for line in series if line.name in everywhere)
    return Section("References", (Points(tuple(map(
        Sentence, sorted((*cited, *papers), key=str.casefold) if papers else cited))),))


def _paper(line: PublishedSeries) -> str:
    """A published series as it is listed: authors, journal, year, and where it was read."""
    return f"{line.authors}. {line.journal}, {line.year}. {line.identifier}."


def _also_named(section: Section) -> list[str]:
    """Cells of tables, and the words of pictures."""
    found: list[str] = []
    for block in section.blocks:
        if isinstance(block, Table):
            found += [cell.text for row in block.rows for cell in row]
        elif isinstance(block, Picture):
            found += [block.caption, block.alt]
    return found


def texts_of(section: Section) -> list[str]:
    """Every text of a section, figures aside."""
    found: list[str] = []
    for block in section.blocks:
        if isinstance(block, (Paragraph, Caution)):
            found += [sentence.text for sentence in block.sentences]
        elif isinstance(block, Points):
            found += [item.text for item in block.items]
        elif isinstance(block, Table):
            found += [block.caption, *block.notes]
    return found
