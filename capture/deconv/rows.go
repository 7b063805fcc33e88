package deconv

// fill lays out samples less an offset, two to a complex value, in rows for the transform,
// zeros behind them, and returns how many values of a row are not all 0.
func (f *FFT) fill(x []float64, offset float64) int {
	rows, step := f.half.rows, f.half.rowStep()
	columns := len(x) / (2 * rows) // that x fills
	for i := fillFours(f.in, x, offset, rows, step, columns/4); i < columns; i++ {
		part, in := x[2*rows*i:2*rows*(i+1)], f.in[i:]
		for j, at := 0, 0; j < len(part)-1; j, at = j+2, at+step {
			in[at] = complex(part[j]-offset, part[j+1]-offset)
		}
	}
	if len(x) == f.n {
		return columns
	}
	for row := range rows {
		clear(f.in[row*step+columns : (row+1)*step])
	}
	for i, v := range x[2*rows*columns:] {
		if at := &f.in[i/2*step+columns]; i%2 == 0 {
			*at = complex(v-offset, 0)
		} else {
			*at = complex(real(*at), v-offset)
		}
	}
	return columns + 1
}

// tangle lays out, in rows for the transform, the spectrum of the complex sequence of even
// and odd samples whose spectrum is c, over its length. It is turned round, value k for
// value −k, which makes a forward transform an inverse one.
func (f *FFT) tangle(c []complex128) {
	m, rows, step := f.n/2, f.half.rows, f.half.rowStep()
	scale := 1 / float64(f.n)
	f.in[0] = complex((real(c[0])+real(c[m]))*scale, (real(c[0])-real(c[m]))*scale)
	next := 1 // of the values that are left
	if tangleFours(f.in, c, f.turn, m, rows, step, scale) {
		next = rows
	}
	for k := next; k <= m/2; k += next {
		a, b := c[k], c[m-k]
		er, ei := (real(a)+real(b))*scale, (imag(a)-imag(b))*scale
		dr, di := (real(a)-real(b))*scale, (imag(a)+imag(b))*scale
		w := f.turn[k]
		or, oi := real(w)*dr+imag(w)*di, real(w)*di-imag(w)*dr // times the conjugate
		f.in[k%rows*step+k/rows] = complex(er+oi, or-ei)
		f.in[(m-k)%rows*step+(m-k)/rows] = complex(er-oi, ei+or)
	}
}
