package diffuse

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// mutations is how many damaged sets are read.
const mutations = 600

// TestMutatedSets damages a set of 24 directions, one to four times each: what
// is read ends in an error or in a curve that a study takes.
func TestMutatedSets(t *testing.T) {
	var ir, pos []float64
	r := rand.New(rand.NewPCG(17, 2))
	for i := range 24 {
		z := 1 - (2*float64(i)+1)/24
		az := 137.5 * float64(i)
		pos = append(pos, az, math.Asin(z)*180/math.Pi, 1)
		for range 64 {
			ir = append(ir, r.NormFloat64())
		}
	}
	number := func(v []float64) string {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	good := fmt.Sprintf(`{"Attributes":{"SOFAConventions":"SimpleFreeFieldHRIR","DataType":"FIR"},"Variables":{
"SourcePosition":{"Attributes":{"Type":"spherical"},"Values":%s},
"Data.SamplingRate":{"Values":[48000]},"Data.IR":{"Dimensions":[24,1,64],"Values":%s}}}`, number(pos), number(ir))
	curve := func(text string) error {
		s, err := Read(strings.NewReader(text))
		if err != nil {
			return err
		}
		c, err := s.DiffuseField(0)
		if err != nil {
			return err
		}
		var out strings.Builder
		if err := c.WriteCSV(&out); err != nil {
			return err
		}
		rows, err := csv.NewReader(strings.NewReader(out.String())).ReadAll()
		if err != nil || len(rows) < 3 {
			t.Errorf("%d rows, %v", len(rows), err)
		}
		for _, row := range rows[1:] {
			if v, err := strconv.ParseFloat(row[1], 64); err != nil || !(math.Abs(v) <= maxLevelDB) {
				t.Errorf("%v", row)
			}
		}
		return nil
	}
	if err := curve(good); err != nil {
		t.Fatal(err)
	}
	const replacements = "0123456789eE+-.,[]{}\" \x00\xff"
	refused := 0
	for range mutations {
		b := []byte(good)
		for range 1 + r.IntN(4) {
			at := r.IntN(len(b))
			switch r.IntN(4) {
			case 0: // one character of the kind that such a text is made of
				b[at] = replacements[r.IntN(len(replacements))]
			case 1: // a number made huge or tiny
				b = append(b[:at:at], append([]byte("e"+[]string{"300", "38", "-300", "9"}[r.IntN(4)]), b[at:]...)...)
			case 2: // a part taken out
				b = append(b[:at:at], b[min(len(b), at+1+r.IntN(40)):]...)
			case 3: // one of the numbers that steer
				old := []string{"48000", "[24,1,64]", "spherical"}[r.IntN(3)]
				by := []string{"1e-300", "[1536,1,1]", "cartesian", "[1,24,64]", "[64,1,24]", "1e300", "0", "-48000"}[r.IntN(8)]
				b = []byte(strings.Replace(string(b), old, by, 1))
			}
		}
		if curve(string(b)) != nil {
			refused++
		}
	}
	t.Logf("%d of %d refused", refused, mutations)
	if refused == 0 || refused == mutations {
		t.Error("the damages show nothing")
	}
}
