package folder

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// Ask is which photos to read, and what a person says of them that goes before
// what their names say.
type Ask struct {
	Only  []string // names in photos/; empty: all
	Again bool     // those too that were refused
	Pair  bool     // every two of Only show one strip from two sides
	Given
}

// Job is one strip to read, from one photo or a pair.
type Job struct {
	Photos []build.Photo
	Given
	By build.Assignment // how Bearing is known; empty: the tag must tell
}

// Plan lists the strips to read, in the order of the photos' names. Left out are
// photos that were read and, unless asked for again, those that were refused; one
// whose reading was taken back is read anew when it is named. Two photos whose names differ only in a last -left and -right are
// one strip seen from two sides. What keeps a photo from being read is told in
// problems, one each.
func (v View) Plan(a Ask) (jobs []Job, problems []error) {
	photos, problems := v.choose(a)
	named := make([]photoName, len(photos))
	for i, p := range photos {
		n, err := parseName(v.Build, p.Name)
		if err == nil || a.Bearing != "" {
			named[i] = n
			continue
		}
		problems = append(problems, err)
		photos[i].Name = "" // passed over below
	}
	for i := 0; i < len(photos); i++ {
		if photos[i].Name == "" {
			continue
		}
		job := newJob(a.Given, named[i], photos[i])
		switch {
		case a.Pair && i+1 == len(photos):
			problems = append(problems, fmt.Errorf("%s: --pair needs two photos of each strip, and this one is left over", photos[i].Name))
			continue
		case a.Pair:
			i++
			if one, other := named[i-1].Bearing, named[i].Bearing; one != "" && other != "" && one != other && a.Bearing == "" {
				problems = append(problems, fmt.Errorf("%s and %s: --pair needs two photos of one strip, and their names say %s and %s", photos[i-1].Name, photos[i].Name, one, other))
				continue
			}
			job.Photos = append(job.Photos, photos[i])
		case named[i].side != "":
			k := slices.IndexFunc(named, func(n photoName) bool {
				return n.base == named[i].base && n.side != "" && n.side != named[i].side
			})
			if k < 0 || photos[k].Name == "" {
				problems = append(problems, fmt.Errorf("%s: waits for the photo from its other side; add that, or take -%s out of this one's name", photos[i].Name, named[i].side))
				continue
			}
			if named[i].side == "right" { // read with its left
				continue
			}
			job.Photos = append(job.Photos, photos[k])
		}
		jobs = append(jobs, job)
	}
	return jobs, problems
}

// newJob puts together what a person and a photo's name say. A name that begins with
// another bearing's speaks of that, and none of it holds.
func newJob(hand Given, name photoName, p build.Photo) Job {
	if hand.Bearing != "" && name.Bearing != "" && hand.Bearing != name.Bearing {
		name.Given = Given{}
	}
	j := Job{Photos: []build.Photo{p}, Given: hand.or(name.Given)}
	switch {
	case hand.Bearing != "":
		j.By = build.ByHand
	case name.Bearing != "":
		j.By = build.ByName
	}
	return j
}

// choose lists the photos that Plan is about.
func (v View) choose(a Ask) (chosen []build.Photo, problems []error) {
	photos, problems := v.Photos()
	seen := map[string]string{}
	take := func(p build.Photo) {
		number, stands := v.Journal.ReadingOf(p.SHA256)
		read, refused := v.Journal.Tried(p.SHA256)
		named := len(a.Only) > 0
		switch {
		case seen[p.SHA256] != "":
			problems = append(problems, fmt.Errorf("%s: the same photo as %s; delete one", p.Name, seen[p.SHA256]))
		case stands && named:
			problems = append(problems, fmt.Errorf("%s: reading %d was made from it; to read it anew, take that back with build withdraw", p.Name, number))
		case !named && (read || refused && !a.Again):
		default:
			seen[p.SHA256] = p.Name
			chosen = append(chosen, p)
		}
	}
	if len(a.Only) == 0 {
		for _, p := range photos {
			take(p)
		}
		return chosen, problems
	}
	for _, name := range a.Only {
		i := slices.IndexFunc(photos, func(p build.Photo) bool { return p.Name == name })
		if i < 0 {
			problems = append(problems, fmt.Errorf("%s: there is no such photo in %s", name, v.Path(photosDir)))
			continue
		}
		take(photos[i])
	}
	return chosen, problems
}

// Task is a job as a reader takes it. The picture's name follows from the photo's
// bytes, so that a job done again writes the same file.
func (v View) Task(j Job) pipeline.Task {
	t := pipeline.Task{Photo: v.photoPath(j.Photos[0]), Picture: v.Path(PictureName(j.Photos[0]))}
	if len(j.Photos) > 1 {
		t.Second = v.photoPath(j.Photos[1])
	}
	return t
}

func (v View) photoPath(p build.Photo) string { return filepath.Join(v.Dir, photosDir, p.Name) }

// PictureName is the picture's name below the folder, with slashes.
func PictureName(p build.Photo) string {
	return fmt.Sprintf("%s/%s-%s.jpg", picturesDir, strings.TrimSuffix(p.Name, filepath.Ext(p.Name)), p.SHA256[:8])
}
