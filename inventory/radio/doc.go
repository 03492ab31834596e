// Package radio is the arithmetic of a short point-to-point link: what arrives
// at each end on paper, at which rate, and what is left of that for data.
//
// Start with Link.Paper, which takes the link as planned and gives everything a
// report needs. The smaller functions stand alone: FreeSpaceLoss,
// FresnelRadius, DiffractionLoss, Wall.Loss, Mode.Rate, Sensitivity,
// NoiseFloor, Channel. LevelLow and Deviation hold a measured level against
// its own past and against the paper.
//
// Sources: ITU-R P.525 (free space), P.526 (Fresnel zone, diffraction, Earth
// bulge), P.530 (fading on paths over 5 km), P.2040-3 (walls), IEEE 802.11n,
// ac and ax (rates, least sensitivity). What is common practice and no
// standard says so where it stands.
//
// There is no built-in limit of radiated power: it differs from country to
// country and changes, so the plan states it. An air rate is never a
// throughput; Usable says what is left.
//
// No function panics or returns NaN or an infinity. A value that no link has
// is an error that wraps ErrRange. All functions are pure and may be called
// at once.
package radio
