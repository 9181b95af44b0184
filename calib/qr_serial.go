package calib

import (
	"fmt"
	"io"
	"strings"
)

// serialAlphabet has no characters that are mistaken for one another on a small
// print (0 O Q, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V: at most one of each). Its length
// is prime, which the check character needs.
const serialAlphabet = "2346789ACDEFHJKMNPRTWXY"

// serialLength counts a serial's characters, the check character included.
const serialLength = 6

// NewSerial returns a fresh sheet serial: five characters drawn evenly from r and
// a check character. It fails only when r does.
func NewSerial(r io.Reader) (string, error) {
	const base = len(serialAlphabet)
	const even = 256 / base * base // bytes from here on would favour the first characters
	var serial []byte
	for len(serial) < serialLength-1 {
		var b [1]byte
		if _, err := io.ReadFull(r, b[:]); err != nil {
			return "", fmt.Errorf("serial: random source: %w", err)
		}
		if int(b[0]) < even {
			serial = append(serial, serialAlphabet[int(b[0])%base])
		}
	}
	sum := weightedSum(string(serial))
	return string(serial) + string(serialAlphabet[(base-sum)%base]), nil
}

// checkSerial tells what keeps s from being a sheet serial. It finds every single
// wrong character and every exchange of two.
func checkSerial(s string) error {
	if len(s) != serialLength {
		return fmt.Errorf("serial: %q has %d characters, not %d; copy it from the sheet", s, len(s), serialLength)
	}
	for _, r := range s {
		if !strings.ContainsRune(serialAlphabet, r) {
			return fmt.Errorf("serial: %q has %q; only %s are used", s, r, serialAlphabet)
		}
	}
	if weightedSum(s) != 0 {
		return fmt.Errorf("serial: %q has a wrong check character; copy it from the sheet", s)
	}
	return nil
}

// weightedSum weighs the characters' values 6, 5, 4 ... 1 modulo the alphabet's
// length. Weights that differ and a prime modulus make one wrong character or
// two exchanged ones change the sum.
func weightedSum(s string) int {
	sum := 0
	for i := range len(s) {
		sum += (serialLength - i) * strings.IndexByte(serialAlphabet, s[i])
	}
	return sum % len(serialAlphabet)
}
