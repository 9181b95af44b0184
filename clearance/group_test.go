package clearance

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib/quantity"
)

// gauged is an invented strip: clearance and taper in mm, own standard uncertainty
// of the clearance, and shared ones of the lot and the print.
func gauged(x, own, shared, taper, taperU float64) Gauged {
	b, err := quantity.NewBudget(
		quantity.Term{Name: "edge noise", U: own},
		quantity.Term{Name: TermArea, U: shared, Common: true},
		quantity.Term{Name: TermPrintScale, U: shared, Common: true},
	)
	if err != nil {
		panic(err)
	}
	return Gauged{Clearance: quantity.Value{X: x, U: b.U()}, Budget: b, Taper: quantity.Value{X: taper, U: taperU},
		Ends: [2]string{"front", "rear"}, Lot: "invented", Sheet: "6C3H2P"}
}

func plainGauged(x, own float64) Gauged { return gauged(x, own, 0.0005, 0, 0.0003) }

// Grubbs' test as NIST tabulates it (e-Handbook of Statistical Methods 1.3.5.17.1):
// the eight masses of Tietjen and Moore (199.31 to 245.57, data and result from
// memory: G = 2.4687, critical 2.032 at 5 % one-sided). With own uncertainties of
// nothing the chance must equal n times the tail of t at t = G sqrt(n(n-2)/((n-1)^2 - n G^2)).
func TestApartIsGrubbs(t *testing.T) {
	mass := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	var group []Gauged
	for _, m := range mass {
		group = append(group, plainGauged(m/4000, 1e-9)) // 0.05 mm; a scale does not matter
	}
	got, err := FindApart(group, 1, 0, quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	mean, sd := 0.0, 0.0
	for _, m := range mass {
		mean += m / 8
	}
	for _, m := range mass {
		sd += (m - mean) * (m - mean) / 7
	}
	g := (mass[7] - mean) / math.Sqrt(sd)
	near(t, "G of the handbook", g, 2.4687, 1e-4)
	want := g * math.Sqrt(8*6/(7*7-8*g*g))
	near(t, "t", got[7].Difference.X/got[7].Difference.U, want, 1e-4*want)
	for i, s := range got {
		if (s.Apart == ApartByScatter) != (i == 7) {
			t.Errorf("bearing %d: %+v", i, s)
		}
	}
}

// False alarms and power, drawn (seeded). A group of one kind: bearings scatter
// normally by s, each read with its own u. No more than 5 % of groups may name a
// bearing; the counts' standard deviation is 0.4 %.
func TestApartRates(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 7))
	const groups = 2500
	for _, c := range []struct {
		name       string
		scatter, u float64 // mm
		uneven     bool    // readings of very different uncertainty
		power      map[int]float64
	}{
		// Found among n when one stands 12 scatters off; measured here, as its bounds
		// below show.
		{"scatter rules", 0.003, 0.0003, false, map[int]float64{3: 0.15, 4: 0.55, 5: 0.9, 7: 0.99}},
		{"noise rules", 0.0002, 0.001, false, nil},
		{"both", 0.001, 0.001, false, nil},
		{"half", 0.0005, 0.001, false, nil},
		{"double", 0.002, 0.001, false, nil},
		{"both, uneven", 0.001, 0.001, true, nil},
	} {
		for _, n := range []int{3, 4, 5, 7} {
			alarms, found := 0, 0
			for range groups {
				group := make([]Gauged, n)
				shared := 0.001 * r.NormFloat64() // one lot, one error
				for i := range group {
					u := c.u
					if c.uneven {
						u *= math.Exp(0.7 * r.NormFloat64())
					}
					group[i] = plainGauged(0.05+shared+c.scatter*r.NormFloat64()+u*r.NormFloat64(), u)
				}
				if anyApart(t, group) {
					alarms++
				}
				group[0].Clearance.X += 12 * c.scatter
				if c.power != nil && anyApart(t, group) {
					found++
				}
			}
			rate, power := float64(alarms)/groups, float64(found)/groups
			t.Logf("%s, %d bearings: %.1f %% of groups alarm, %.0f %% of odd ones found", c.name, n, 100*rate, 100*power)
			if rate > 0.063 {
				t.Errorf("%s: %.3f of groups of %d alarm", c.name, rate, n)
			}
			if want, ok := c.power[n]; ok && power < want {
				t.Errorf("%s: an odd bearing among %d is found in %.3f, want %v", c.name, n, power, want)
			}
		}
	}
}

func anyApart(t *testing.T, group []Gauged) bool {
	t.Helper()
	all, err := FindApart(group, 1, 0, quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		if s.Apart != "" {
			return true
		}
	}
	return false
}

// 0.001 in between bearings is named even among three, where scatter tells little,
// unless the reading itself is as unsure.
func TestApartByLimit(t *testing.T) {
	if in, err := quantity.ParseLength("0.001 in"); err != nil || !same(in, ApartLimit) {
		t.Errorf("ApartLimit %v is not 0.001 in: %v", ApartLimit, err)
	}
	group := []Gauged{plainGauged(0.040, 0.0005), plainGauged(0.045, 0.0005), plainGauged(0.069, 0.0005)}
	got, err := FindApart(group, ApartLimit, Laying, quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	if got[0].Apart != "" || got[1].Apart != "" || got[2].Apart != ApartByLimit {
		t.Errorf("%+v", got)
	}
	near(t, "from the others' median", got[2].FromMedian.X, 0.0265, 1e-12)
	near(t, "its uncertainty", got[2].FromMedian.U, math.Hypot(0.0005, Laying), 1e-12)
	group[2] = plainGauged(0.069, 0.02)
	if got, err = FindApart(group, ApartLimit, Laying, quantity.Coverage{}); err != nil || got[2].Apart != "" {
		t.Errorf("an unsure reading: %+v, %v", got, err)
	}
}

func TestFindApartRefuses(t *testing.T) {
	good := plainGauged(0.05, 0.0005)
	bad := good
	bad.Ends[1] = "front"
	for name, c := range map[string]struct {
		group         []Gauged
		limit, laying float64
	}{
		"two":             {[]Gauged{good, good}, ApartLimit, Laying},
		"no limit":        {[]Gauged{good, good, good}, 0, Laying},
		"negative laying": {[]Gauged{good, good, good}, ApartLimit, -1},
		"bad reading":     {[]Gauged{good, bad, good}, ApartLimit, Laying},
	} {
		if got, err := FindApart(c.group, c.limit, c.laying, quantity.Coverage{}); err == nil {
			t.Errorf("%s: %+v", name, got)
		}
	}
}
