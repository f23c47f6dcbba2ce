package phantom

// The beam is taken as monochromatic at 60 keV, about the mean energy behind a
// pelvis of a 90 kV beam (common practice, no source). Mass attenuation
// coefficients in cm2/g at 60 keV and densities in g/cm3: NIST, tables 3 and 4
// of "Tables of X-Ray Mass Attenuation Coefficients", NISTIR 5632 (Hubbell and
// Seltzer). Stainless steel is taken as iron of steel's density.
const effectiveEnergy = 60 // keV

// Linear attenuation in 1/cm.
const (
	boneAttenuation  = 0.3148 * 1.92 // Bone, Cortical (ICRU-44)
	softAttenuation  = 0.2048 * 1.06 // Tissue, Soft (ICRU-44)
	fatAttenuation   = 0.1974 * 0.95 // Adipose Tissue (ICRU-44)
	steelAttenuation = 1.205 * 8.0   // Iron
	hubAttenuation   = 0.1924 * 1.19 // Polymethyl Methacrylate, for the plastic hub
)
