package vision

var photoNames = [2]string{"first photo", "second photo"}

// eachAlone measures both photos by themselves, also where one is refused: a
// person who must take photos again should know of both.
func (s *stereo) eachAlone(o Options) *Refusal {
	var why [2]*Refusal
	for i, p := range s.photo {
		s.alone[i] = &Measurement{}
		s.trace[i], why[i] = s.alone[i].run(p, o)
	}
	return s.refused(why)
}

// samePrint measures a photo again whose card's code could not be read, where
// the other photo's could and tells how the card was printed.
func (s *stereo) samePrint(o Options) *Refusal {
	for i, m := range s.alone {
		o.Print = s.alone[1-i].Print
		if m.Print.Checked() || !o.Print.Checked() {
			continue
		}
		var why [2]*Refusal
		*m = Measurement{}
		if s.trace[i], why[i] = m.run(s.photo[i], o); why[i] != nil {
			return s.refused(why)
		}
	}
	return nil
}

// refused joins what is wrong with either photo, and says which is to be taken
// again: the other one will do where what helps leaves strip and card as they lie.
func (s *stereo) refused(why [2]*Refusal) *Refusal {
	a, b := why[0], why[1]
	switch {
	case a == nil && b == nil:
		return nil
	case a != nil && b != nil && a.Code == b.Code:
		a.Message = "both photos: " + a.Message
		return a
	case a != nil && b != nil:
		a.Message = photoNames[0] + ": " + a.Message + "; " + photoNames[1] + ": " + b.Message
		a.Remedy += "; for the second photo: " + b.Remedy
		return a
	case b != nil:
		s.faulty = 1
	}
	r := why[s.faulty]
	r.Message = photoNames[s.faulty] + ": " + r.Message
	if Undisturbed(r.Code) {
		r.Remedy += "; the " + photoNames[1-s.faulty] + " will do if strip and card lie as they did"
	} else {
		r.Remedy += "; take the " + photoNames[1-s.faulty] + " again, too"
	}
	return r
}
