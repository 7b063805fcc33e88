package leak

import "asworn/fitcorr/internal/toy"

// fromCircuit is the leak of resistance r (Pa·s/m³) and mass m (kg/m⁴) across a
// compliance c (m³/Pa).
func fromCircuit(r, m, c float64) Params {
	hz, damping := toy.Corner(r, m, c)
	return Params{CornerHz: hz, Damping: damping}
}
