"""Published life data, with where they were read and how sure that is (R read, C computed with another program)."""

# Distance to failure (1) or without failure (0) of 38 shock absorbers, km. R: the `shock` data of the R package
# weibulltools, which cites Meeker & Escobar, "Statistical Methods for Reliability Data" (1998), p. 630. Two failure
# modes, both counted as failures.
SHOCK_ABSORBERS_KM = (
    (6700, 1), (6950, 0), (7820, 0), (8790, 0), (9120, 1), (9660, 0), (9820, 0), (11310, 0), (11690, 0), (11850, 0),
    (11880, 0), (12140, 0), (12200, 1), (12870, 0), (13150, 1), (13330, 0), (13470, 0), (14040, 0), (14300, 1),
    (17520, 1), (17540, 0), (17890, 0), (18450, 0), (18960, 0), (18980, 0), (19410, 0), (20100, 1), (20100, 0),
    (20150, 0), (20320, 0), (20900, 1), (22700, 1), (23490, 0), (26510, 1), (27410, 0), (27490, 1), (27890, 0),
    (28100, 0),
)  # fmt: skip

# Kaplan-Meier estimate of the same: km, at risk, survival, Greenwood standard error. C.
SHOCK_ABSORBER_SURVIVAL = (
    (6700, 38, 0.973684, 0.025967), (9120, 34, 0.945046, 0.037831), (12200, 26, 0.908698, 0.050927),
    (13150, 24, 0.870836, 0.061285), (14300, 20, 0.827294, 0.072047), (17520, 19, 0.783752, 0.080342),
    (20100, 12, 0.71844, 0.096613), (20900, 8, 0.628635, 0.119177), (22700, 7, 0.53883, 0.131711),
    (26510, 5, 0.431064, 0.142806), (27490, 3, 0.287376, 0.151089),
)  # fmt: skip

# NIST/SEMATECH e-Handbook, section 8.4.1.3: twenty units, test ended at 500 h with ten survivors. R.
NIST_FAILURES_H = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
NIST_SURVIVORS = 10
NIST_END_H = 500
