package calc

import (
	"cmp"
	"math"
	"slices"
)

// decile is the standard normal quantile at 0.9: P10 and P90 of a Range lie
// this many standard deviations to each side of P50.
const decile = 1.2815515655446004

// sides is a split log-normal quantity for taking many draws: each side of P50
// has the logarithmic standard deviation of its own decile.
type sides struct{ likely, below, above float64 }

func sidesOf[T ~float64](r Range[T]) sides {
	if r.Likely == 0 {
		return sides{}
	}
	return sides{
		float64(r.Likely),
		math.Log(float64(r.Likely/r.Low)) / decile,
		math.Log(float64(r.High/r.Likely)) / decile,
	}
}

// at returns the value at the standard normal deviate z.
func (s sides) at(z float64) float64 {
	if z < 0 {
		return s.likely * math.Exp(z*s.below)
	}
	return s.likely * math.Exp(z*s.above)
}

// spread is an uncertain quantity on the logarithms: P50 and the first three
// cumulants about it.
//
// The squared logs of each side added in quadrature (JCGM 100:2008, 5.1.2, on
// the logarithms of a product) are what this comes to where the sides of all
// factors lean the same way; where they lean against each other, quadrature is
// up to 5 % off and the third cumulant is needed.
type spread struct {
	likely, mean, variance, third float64
	alone                         sides // the one factor there is, when factors is 1
	factors                       int
}

// add enters an independent factor whose logarithm lies below and above its
// P50 by the given distances at P10 and P90: half of a normal distribution on
// each side.
func (s *spread) add(below, above float64) {
	below, above = below/decile, above/decile
	s.alone = sides{s.likely, below, above}
	s.factors++
	mean := (above - below) / math.Sqrt(2*math.Pi)
	square := (below*below + above*above) / 2
	cube := math.Sqrt(2/math.Pi) * (above*above*above - below*below*below)
	s.mean += mean
	s.variance += square - mean*mean
	s.third += cube - 3*mean*square + 2*mean*mean*mean
}

// move enters a cause that takes the quantity to the values a and b at its own
// P10 and P90 while all other causes stay (JCGM 100:2008, 5.1.3, note 2).
func (s *spread) move(a, b float64) {
	if a == s.likely && b == s.likely {
		return
	}
	down, up := math.Log(a/s.likely), math.Log(b/s.likely)
	if down > up {
		down, up = up, down
	}
	// What moves the quantity by less than a thousandth is not a factor of it.
	if up-down < 1e-3 {
		return
	}
	s.add(max(-down, 0), max(up, 0))
}

func spreadOf[T ~float64](r Range[T]) spread {
	s := spread{likely: float64(r.Likely)}
	s.move(float64(r.Low), float64(r.High))
	return s
}

// times is the product with an independent quantity.
func (s spread) times(o spread) spread {
	p := spread{
		likely: s.likely * o.likely, mean: s.mean + o.mean, variance: s.variance + o.variance,
		third: s.third + o.third, factors: s.factors + o.factors, alone: s.alone,
	}
	if s.factors == 0 {
		p.alone = o.alone
	}
	p.alone.likely = p.likely
	return p
}

// over is the quotient by an independent quantity.
func (s spread) over(o spread) spread { return s.times(o.power(-1)) }

// scale is the product with a certain quantity.
func (s spread) scale(k float64) spread { return s.times(spread{likely: k}) }

// power raises the quantity to the power p.
func (s spread) power(p float64) spread {
	alone := sides{math.Pow(s.likely, p), s.alone.below * math.Abs(p), s.alone.above * math.Abs(p)}
	if p < 0 {
		alone.below, alone.above = alone.above, alone.below
	}
	return spread{
		likely: alone.likely, mean: s.mean * p, variance: s.variance * p * p, third: s.third * p * p * p,
		factors: s.factors, alone: alone,
	}
}

// at returns the quantile at the standard normal deviate z by the expansion of
// Cornish and Fisher to the third cumulant.
func (s *spread) at(z float64) float64 {
	switch s.factors {
	case 0:
		return s.likely
	case 1:
		return s.alone.at(z)
	}
	return s.likely * math.Exp(s.mean+math.Sqrt(s.variance)*z+s.third/s.variance*(z*z-1)/6)
}

// rangeOf reads P10 and P90; P50 stays the product of the likely factors, so
// that a recipe can be checked by hand.
func rangeOf[T ~float64](s spread) Range[T] {
	return Range[T]{T(min(s.at(-decile), s.likely)), T(s.likely), T(max(s.at(decile), s.likely))}
}

// draws is the number of points at which a quantity is taken when a sum, a
// limit or a branch keeps it from being a product.
const draws = 256

// plane is an even spread of points over two independent standard normal
// deviates: a lattice on the golden ratio, turned so that the deciles of all
// wastes lie nearest to those of long random draws. The outermost come first: once
// the tails are filled with them, most others need not be sorted in.
var plane = func() (points [draws][2]float64) {
	for k := range points {
		_, turn := math.Modf((float64(k)+.5)*math.Phi + .4)
		points[k] = [2]float64{normalQuantile((float64(k) + .5) / draws), normalQuantile(turn)}
	}
	slices.SortStableFunc(points[:], func(a, b [2]float64) int {
		return cmp.Compare(math.Hypot(b[0], b[1]), math.Hypot(a[0], a[1]))
	})
	return points
}()

func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// around returns the deciles of the drawn values about a likely one. Only the
// tails are sorted: a whole sort would be half the time of a recipe.
func around(values *[draws]float64, likely float64) Range[float64] {
	var least, most tail
	for i := range least {
		least[i], most[i] = math.Inf(1), math.Inf(1)
	}
	for _, v := range values {
		if v < least[len(least)-1] {
			least.insert(v)
		}
		if -v < most[len(most)-1] {
			most.insert(-v)
		}
	}
	return Range[float64]{min(least.decile(), likely), likely, max(-most.decile(), likely)}
}

// tail is the least values of a draw, sorted, as far as its decile needs them.
type tail [draws/10 + 2]float64

// insert takes in a value less than the last.
func (t *tail) insert(v float64) {
	i := len(t) - 1
	for ; i > 0 && t[i-1] > v; i-- {
		t[i] = t[i-1]
	}
	t[i] = v
}

// decile is P10: it lies at 25.6 values, and the middle of value i at i + 0.5.
func (t *tail) decile() float64 {
	const part = .1
	return t[len(t)-2]*(1-part) + t[len(t)-1]*part
}

// either returns the range itself, or the figure's when it is the zero range,
// which is then entered as assumed.
func either[T ~float64](r Range[T], f Figure[T], assumed *[]*Sourced) Range[T] {
	if r != (Range[T]{}) {
		return r
	}
	*assumed = append(*assumed, f.Sourced())
	return f.Range
}

// or is either for a single value.
func or[T ~float64](v T, f Figure[T], assumed *[]*Sourced) T {
	if v != 0 {
		return v
	}
	*assumed = append(*assumed, f.Sourced())
	return f.Likely
}

// rest returns one minus a share.
func (r Range[T]) rest() Range[T] { return Range[T]{1 - r.High, 1 - r.Likely, 1 - r.Low} }
