package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/stats"
)

// listenerFit is the posterior of one listener's latent vector.
type listenerFit struct {
	u       *mat.VecDense // mean of u_s
	x       *mat.VecDense // mean of x_s
	xRoot   *mat.Dense    // Cov(x_s) = xRoot·xRoot'
	uRoot   *mat.Dense    // Cov(u_s) = uRoot·uRoot'
	ev      evidence
	lq      mat.VecDense  // L'q of the evidence's right-hand side q
	binv    *mat.SymDense // B⁻¹, B = I + L'PL
	half    *mat.TriDense // U⁻¹ of B = U'U
	logDet  float64       // of B
	pl      *mat.Dense    // PL
	gain    *mat.Dense    // G = B⁻¹L'PL₀
	reduced *mat.SymDense // R = L₀'M L₀, M = P − PL·B⁻¹·L'P
	score   *mat.VecDense // b: what the listener says about η is normal with mean Rη and covariance R
}

// likeFirst takes over what a listener with the same precision has.
func (lf *listenerFit) likeFirst(first *listenerFit) {
	lf.binv, lf.half, lf.logDet, lf.pl, lf.gain, lf.reduced = first.binv, first.half, first.logDet, first.pl, first.gain, first.reduced
}

// eliminate marginalises x_s out and reports whether the equations determine it.
// The first columns of L₀ are columns of L times scale, D, and X the others. With
// Q = L'PL = B − I follow from B⁻¹Q = I − B⁻¹ without a product
//
//	G = [(I − B⁻¹)D, g],  R = [D(I − B⁻¹)D, D·g; ·, X'PX − X'PL·g],  g = B⁻¹L'PX.
func (lf *listenerFit) eliminate(l effects.Factor, l0 *mat.Dense, scale []float64) bool {
	rows, r0 := l0.Dims()
	ears, r := l.Cols()
	lf.pl = lf.ev.times(l.Layout, l.Whole)
	x := mat.DenseCopyOf(l0.Slice(0, rows, ears, r0))
	px := lf.ev.times(l.Layout, x)
	b := stats.Symmetric(l.Transposed(lf.pl))
	for k := range r {
		b.SetSym(k, k, b.At(k, k)+1)
	}
	var chol mat.Cholesky
	var upper mat.TriDense
	lf.binv, lf.half = mat.NewSymDense(r, nil), new(mat.TriDense)
	if !chol.Factorize(b) || chol.InverseTo(lf.binv) != nil {
		return false
	}
	chol.UTo(&upper)
	if lf.half.InverseTri(&upper) != nil {
		return false
	}
	lf.logDet = chol.LogDet()
	lpx := l.Transposed(px)
	lf.gain = mat.NewDense(r, r0, nil)
	g := lf.gain.Slice(0, r, ears, r0).(*mat.Dense)
	g.Mul(mat.DenseCopyOf(lf.binv), lpx)
	lf.reduced = mat.NewSymDense(r0, nil)
	for i := range r {
		row := lf.gain.RawRowView(i)
		for j, k := range scale {
			row[j] = -k * lf.binv.At(i, j)
		}
		if i < ears {
			row[i] += scale[i]
			for j := i; j < r0; j++ {
				lf.reduced.SetSym(i, j, scale[i]*row[j])
			}
		}
	}
	var own, seen mat.Dense
	own.Mul(x.T(), px)
	seen.Mul(lpx.T(), g)
	own.Sub(&own, &seen)
	rest := stats.Symmetric(&own)
	for i := ears; i < r0; i++ {
		for j := i; j < r0; j++ {
			lf.reduced.SetSym(i, j, rest.At(i-ears, j-ears))
		}
	}
	return true
}

// setRoots sets the roots of covariances: Cov ξ = B⁻¹ + G C₀ G' of x = Lξ, and
// u = L₀η + x.
func (lf *listenerFit) setRoots(l effects.Factor, fit *panelFit) {
	own := l.Times(mat.DenseCopyOf(lf.half))
	shared := l.Times(stats.TimesLower(lf.gain, fit.etaRoot))
	var both mat.Dense
	both.Sub(fit.thetaRoot, shared)
	lf.xRoot, lf.uRoot = new(mat.Dense), new(mat.Dense)
	lf.xRoot.Augment(own, shared)
	lf.uRoot.Augment(own, &both)
}
