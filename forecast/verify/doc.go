// Package verify measures how good forecasts are: scores, and backtests on past
// data.
//
// What the forecast computes, where it comes from and how it is checked. "exact"
// is a solution in closed form, "data" a measurement that nobody here made; the
// test beside each names its source in full. Results are those of the last
// change to the computation.
//
//	Computation            Source                               Check                                    Result              Tolerance
//	sun's position         Meeus ch. 25, as NOAA uses it        SPA worked example (Reda & Andreas)      0.003°              0.02°
//	sunshine from range    Bristow & Campbell 1984              hill station 2015 (data)                 bias 2 W/m²         10 W/m²
//	cylinder in air        Churchill & Bernstein 1977           by hand, 0.3 m at 2 m/s                  10.45 W/m²/K        0.02
//	conduction             Carslaw & Jaeger sec. 7.6            Bessel series, cylinder (exact)          0.002 of the step   0.002
//	 - order in space      finite volumes                       the same                                 2.01                2 ± 0.15
//	 - order in time       backward Euler                       the same                                 1.00                1 ± 0.1
//	 - daily swing         Carslaw & Jaeger ch. VII             I0 of complex argument (exact)           amplitude 0.015     0.015, 0.3 h
//	freezing, one phase    Stefan; Carslaw & Jaeger ch. XI      similarity solution (exact)              front 1 %           1 %
//	freezing, two phases   Neumann; Carslaw & Jaeger ch. XI     similarity solution (exact)              front 2 %, 0.1 K    2 %, 0.1 K
//	freezing through       quasi-steady, L a²/4kΔT              52.0 h at -5 °C, 15 cm                   52 h                1.1 h
//	enthalpy               finite volumes                       season of random forcing                 1e-12               1e-9
//	plateau of sapwood     the model                            sugar maple, 15 min, 2023 (data)         29 % of 30 %        factor 1.5
//	flow at thaw           Milburn & O'Malley 1984              the same tree (data)                     6 of 7 deep frosts  8 in 10
//	share of best days     the model                            74 % in a fifth (Kurokawa et al. 2024)   73 %                60 to 85 %
//	frost and thaw         normal errors, least squares         nine US stations 2021, held out (data)   skill 0.55          0.52
//	made members           the same errors                      spread by lead (data)                    within 5 %          6 %
//	hours for sugar        members and dew points that err      hill station 2015 (data)                 92 % dry all hours   80 %
//	leaf buds              warmth weighted by day length        Harvard Forest 1990-1996, left out       3.1 and 3.7 days    3.8 days
//	collected volumes      the whole, learning as it goes       tap logs 2013, 2014 (data)               rank 0.68, 0.79     0.6, 0.75
//	Brier and its parts    Brier 1950, Murphy 1973              scikit-learn; identity                   1e-12               1e-9
//	ROC area               Mann & Whitney                       scikit-learn                             1e-12               1e-9
//	CRPS                   Gneiting & Raftery 2007              SciPy integration                        1e-11               1e-9
//	rank correlation       Spearman                             SciPy, with ties                         1e-12               1e-9
//	PIT                    Dawid 1984                           even for a calibrated forecast           4 s.e.              4 s.e.
//	bootstrap              Künsch 1989                          SciPy percentile interval                0.004               0.006
//
// What each part of the model is worth: rank correlation with the visits of
// 2013 and 2014 of the whole model 0.68 and 0.79, its CRPS skill 0.31 and 0.48;
// without sunshine, which was not measured there, 0.70 and 0.77 (0.30 and 0.45),
// without wind 0.50 and 0.73 (0.17 and 0.46), without the phase change 0.39 and
// 0.53 (0.17 and 0.19), with air temperature alone 0.43 and 0.49 (0.16 and 0.10),
// without ice in the pails 0.65 and 0.83 (0.25 and 0.51); degree hours reach 0.23
// and 0.62, the threshold rule 0.06 and 0.51. The same by thawline backtest sap
// --without PART, the hill's weather taken 0.58 K warmer. The parameters of the
// flow and how much each matters: sap.Table and thawline backtest sensitivity.
package verify
