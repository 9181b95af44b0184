package calib

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"
)

// random returns a seeded source of bytes.
func random(seed byte) *rand.ChaCha8 { return rand.NewChaCha8([32]byte{seed}) }

func TestNewSerialIsValid(t *testing.T) {
	r := random(1)
	seen := map[string]bool{}
	for range 1000 {
		s, err := NewSerial(r)
		if err != nil {
			t.Fatal(err)
		}
		if checkSerial(s) != nil {
			t.Fatalf("%q is not valid", s)
		}
		seen[s] = true
	}
	// 1000 of 23^5 serials: 0.08 pairs expected.
	if len(seen) < 998 {
		t.Errorf("only %d of 1000 serials differ", len(seen))
	}
}

func TestNewSerialReportsItsSource(t *testing.T) {
	broken := errors.New("broken")
	if s, err := NewSerial(iotest.ErrReader(broken)); !errors.Is(err, broken) || s != "" {
		t.Errorf("got %q, %v", s, err)
	}
}

// Every single wrong character and every exchange of two is found.
func TestCheckCharacterFindsMistakes(t *testing.T) {
	r := random(2)
	for range 20 {
		good, err := NewSerial(r)
		if err != nil {
			t.Fatal(err)
		}
		for i := range good {
			for _, c := range serialAlphabet {
				if bad := good[:i] + string(c) + good[i+1:]; bad != good && checkSerial(bad) == nil {
					t.Errorf("%s passes for %s", bad, good)
				}
			}
			for j := range i {
				b := []byte(good)
				b[i], b[j] = b[j], b[i]
				if bad := string(b); bad != good && checkSerial(bad) == nil {
					t.Errorf("%s passes for %s", bad, good)
				}
			}
		}
	}
}

// No two characters of the alphabet are of one group of look-alikes.
func TestAlphabetHasNoLookAlikes(t *testing.T) {
	for _, group := range []string{"0OQ", "1IL", "2Z", "5S", "6G", "8B", "UV"} {
		n := 0
		for _, c := range group {
			n += strings.Count(serialAlphabet, string(c))
		}
		if n > 1 {
			t.Errorf("the alphabet has %d of %s", n, group)
		}
	}
	for i, c := range serialAlphabet {
		if strings.ContainsRune(serialAlphabet[:i], c) || !strings.ContainsRune(codeAlphabet, c) {
			t.Errorf("%q is there twice or not alphanumeric", c)
		}
	}
}
