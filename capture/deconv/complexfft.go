package deconv

// complexFFT is a decimation-in-time transform with radices 4, 2, 3 and 5 (and
// a plain sum for other primes), Cooley and Tukey, Math. Comp. 19, 1965. It
// recurses depth first, so that all but the outermost steps work within the
// processor's fast memory. The innermost steps take every rows-th value of the
// input: it is laid out so that these lie side by side. It is read-only after
// it was made.
type complexFFT struct {
	n      int
	rows   int            // of the input
	inner  int            // level of the step that transforms a row
	radix  []int          // from the outermost step inwards
	turns  [][]complex128 // per step, the factors of the second part, of the third …
	primes [][]complex128 // per step of another radix, its roots of unity
}

func newComplexFFT(n int) *complexFFT {
	p := &complexFFT{n: n}
	rest := n
	take := func(r int) {
		for rest%r == 0 && rest > 1 {
			p.radix = append(p.radix, r)
			rest /= r
		}
	}
	// Odd radices go outside, so that the innermost steps are of radix 4.
	take(5)
	take(3)
	for r := 7; r*r <= rest; r += 2 {
		take(r)
	}
	var twos int
	for rest%2 == 0 {
		twos++
		rest /= 2
	}
	if rest > 1 {
		p.radix = append(p.radix, rest)
	}
	if twos%2 == 1 {
		p.radix = append(p.radix, 2)
	}
	for range twos / 2 {
		p.radix = append(p.radix, 4)
	}
	p.rows = 1
	size := n
	for _, r := range p.radix {
		if size > longestRow {
			p.rows *= r
			p.inner++
		}
		m := size / r
		var t, roots []complex128
		if m > 1 {
			t = make([]complex128, 0, m*(r-1)+1) // one more, for combine_amd64.s
			for j := 1; j < r; j++ {
				for k := range m {
					t = append(t, unit(j*k, size))
				}
			}
		}
		if r > 5 {
			for j := range r {
				roots = append(roots, unit(j, r))
			}
		}
		p.turns, p.primes = append(p.turns, t), append(p.primes, roots)
		size = m
	}
	return p
}

const (
	longestRow = 256 // values: 4 kB, well within the processor's fastest memory
	rowGap     = 4   // between rows, lest they all fall on the same places of that memory
)

// rowStep returns how far the rows of the input lie apart.
func (p *complexFFT) rowStep() int { return p.n/p.rows + rowGap }

// inputLen returns the length of the input. Value i belongs to row i mod rows,
// of which it is value i/rows.
func (p *complexFFT) inputLen() int { return p.rows * p.rowStep() }

// transform writes the spectrum of src, laid out in rows, to dst of length n;
// the two do not overlap. Of each row the values from filled on are 0.
func (p *complexFFT) transform(dst, src []complex128, filled int) {
	if p.n == 1 {
		dst[0] = src[0]
		return
	}
	p.outer(dst, src, filled, 0, 1, 0)
}

// outer transforms every stride-th value from first on into dst.
func (p *complexFFT) outer(dst, src []complex128, filled, first, stride, level int) {
	if level == p.inner {
		p.step(dst, src[first*p.rowStep():], filled, 1, level)
		return
	}
	r := p.radix[level]
	m := len(dst) / r
	for j := range r {
		p.outer(dst[j*m:(j+1)*m], src, filled, first+j*stride, stride*r, level+1)
	}
	p.combine(dst, level)
}

// step transforms every stride-th value of src, part of a row, into dst. From filled on
// they are 0.
func (p *complexFFT) step(dst, src []complex128, filled, stride, level int) {
	if filled <= stride { // all but the first
		for i, first := 0, src[0]; i < len(dst); i++ {
			dst[i] = first
		}
		return
	}
	r := p.radix[level]
	m := len(dst) / r
	if m == 1 {
		p.last(dst, src, stride, level)
		return
	}
	if r == 4 && m == 4 {
		sixteens(dst, src, stride, 1)
		return
	}
	if r == 4 && m == 16 {
		sixteens(dst, src, 4*stride, 4)
		p.combine(dst, level)
		return
	}
	for j := range r {
		p.step(dst[j*m:(j+1)*m], src[j*stride:], filled-j*stride, stride*r, level+1)
	}
	p.combine(dst, level)
}

// combine puts the spectra of the parts of a step together.
func (p *complexFFT) combine(dst []complex128, level int) {
	switch p.radix[level] {
	case 4:
		combine4(dst, p.turns[level])
	case 2:
		combine2(dst, p.turns[level])
	case 3:
		combine3(dst, p.turns[level])
	case 5:
		combine5(dst, p.turns[level])
	default:
		combineAny(dst, p.turns[level], p.primes[level])
	}
}

// last is a step whose parts are single values.
func (p *complexFFT) last(dst, src []complex128, stride, level int) {
	for j := range dst {
		dst[j] = src[j*stride]
	}
	ones := [4]complex128{1, 1, 1, 1}
	switch len(dst) {
	case 2:
		combine2(dst, ones[:1])
	case 3:
		combine3(dst, ones[:2])
	case 4:
		combine4(dst, ones[:3])
	case 5:
		combine5(dst, ones[:4])
	default:
		one := make([]complex128, len(dst)-1)
		for i := range one {
			one[i] = 1
		}
		combineAny(dst, one, p.primes[level])
	}
}

func mul(a, w complex128) (re, im float64) {
	return real(a)*real(w) - imag(a)*imag(w), real(a)*imag(w) + imag(a)*real(w)
}

func butterflies2(d, t []complex128) {
	m := len(d) / 2
	a, b := d[:m], d[m:2*m]
	t = t[:m]
	for k, w := range t {
		br, bi := mul(b[k], w)
		ar, ai := real(a[k]), imag(a[k])
		a[k], b[k] = complex(ar+br, ai+bi), complex(ar-br, ai-bi)
	}
}

func butterflies4(x, t []complex128) {
	m := len(x) / 4
	a, b, c, d := x[:m], x[m:2*m], x[2*m:3*m], x[3*m:4*m]
	b, c, d = b[:len(a)], c[:len(a)], d[:len(a)]
	t1, t2, t3 := t[:len(a)], t[m:][:len(a)], t[2*m:][:len(a)]
	for k := range a {
		br, bi := mul(b[k], t1[k])
		cr, ci := mul(c[k], t2[k])
		dr, di := mul(d[k], t3[k])
		ar, ai := real(a[k]), imag(a[k])
		pr, pi, qr, qi := ar+cr, ai+ci, ar-cr, ai-ci
		sr, si, ur, ui := br+dr, bi+di, br-dr, bi-di
		a[k] = complex(pr+sr, pi+si)
		b[k] = complex(qr+ui, qi-ur)
		c[k] = complex(pr-sr, pi-si)
		d[k] = complex(qr-ui, qi+ur)
	}
}

// sixteenths are the factors of the second of two steps of radix 4, and one value more.
var sixteenths = func() (t [13]complex128) {
	for i := range 12 {
		t[i] = unit((i/4+1)*(i%4), 16)
	}
	return t
}()

// fans transforms every stride-th of 16 values, two steps of radix 4 at once, and so on for
// count parts of dst, of which each begins a quarter of a stride behind the one before.
func fans(dst, src []complex128, stride, count int) {
	for i := range count {
		fan(dst[16*i:16*i+16], src[i*(stride/4):], stride)
	}
}

func fan(d, src []complex128, stride int) {
	for j := range 4 {
		// Every fourth value, from the j-th on.
		a, b := src[j*stride], src[(j+4)*stride]
		c, e := src[(j+8)*stride], src[(j+12)*stride]
		p, q, s, u := a+c, a-c, b+e, b-e
		o := d[4*j : 4*j+4]
		o[0], o[1] = p+s, complex(real(q)+imag(u), imag(q)-real(u))
		o[2], o[3] = p-s, complex(real(q)-imag(u), imag(q)+real(u))
	}
	butterflies4(d, sixteenths[:])
}

func butterflies3(x, t []complex128) {
	const h = 0.866025403784438646763723170752936 // sin 2π/3
	m := len(x) / 3
	a, b, c := x[:m], x[m:2*m], x[2*m:3*m]
	b, c = b[:len(a)], c[:len(a)]
	t1, t2 := t[:len(a)], t[m:][:len(a)]
	for k := range a {
		br, bi := mul(b[k], t1[k])
		cr, ci := mul(c[k], t2[k])
		ar, ai := real(a[k]), imag(a[k])
		sr, si := br+cr, bi+ci
		ur, ui := h*(br-cr), h*(bi-ci)
		a[k] = complex(ar+sr, ai+si)
		pr, pi := ar-sr/2, ai-si/2
		b[k] = complex(pr+ui, pi-ur)
		c[k] = complex(pr-ui, pi+ur)
	}
}

func combine5(x, t []complex128) {
	const (
		c1 = 0.309016994374947424102293417182819 // cos 2π/5
		c2 = -0.809016994374947424102293417182819
		s1 = 0.951056516295153572116439333379382 // sin 2π/5
		s2 = 0.587785252292473129168705954639073
	)
	m := len(x) / 5
	a, b, c, d, e := x[:m], x[m:2*m], x[2*m:3*m], x[3*m:4*m], x[4*m:5*m]
	b, c, d, e = b[:len(a)], c[:len(a)], d[:len(a)], e[:len(a)]
	t1, t2, t3, t4 := t[:len(a)], t[m:][:len(a)], t[2*m:][:len(a)], t[3*m:][:len(a)]
	for k := range a {
		br, bi := mul(b[k], t1[k])
		cr, ci := mul(c[k], t2[k])
		dr, di := mul(d[k], t3[k])
		er, ei := mul(e[k], t4[k])
		ar, ai := real(a[k]), imag(a[k])
		pr, pi, qr, qi := br+er, bi+ei, br-er, bi-ei
		sr, si, ur, ui := cr+dr, ci+di, cr-dr, ci-di
		a[k] = complex(ar+pr+sr, ai+pi+si)
		xr, xi := ar+c1*pr+c2*sr, ai+c1*pi+c2*si
		yr, yi := s1*qr+s2*ur, s1*qi+s2*ui
		b[k], e[k] = complex(xr+yi, xi-yr), complex(xr-yi, xi+yr)
		xr, xi = ar+c2*pr+c1*sr, ai+c2*pi+c1*si
		yr, yi = s2*qr-s1*ur, s2*qi-s1*ui
		c[k], d[k] = complex(xr+yi, xi-yr), complex(xr-yi, xi+yr)
	}
}

// combineAny is the sum as it stands, for radices that are other primes.
func combineAny(x, t, roots []complex128) {
	r := len(roots)
	m := len(x) / r
	v := make([]complex128, r)
	for k := range m {
		v[0] = x[k]
		for j := 1; j < r; j++ {
			v[j] = x[k+j*m] * t[(j-1)*m+k]
		}
		for i := range r {
			sum := v[0]
			for j := 1; j < r; j++ {
				sum += v[j] * roots[i*j%r]
			}
			x[k+i*m] = sum
		}
	}
}
