package worker

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/mat"

	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
)

// fill gives every field below v a value of its own, so that one which is lost on
// the way is noticed, those added later included.
func fill(t *testing.T, v reflect.Value, n *int) {
	t.Helper()
	*n++
	switch v.Kind() {
	case reflect.Pointer:
		if v.Type() == reflect.TypeFor[*mat.SymDense]() {
			e := make([]float64, 16)
			for i := range 4 {
				for j := i; j < 4; j++ {
					*n++
					e[4*i+j], e[4*j+i] = 1/float64(*n), 1/float64(*n)
				}
			}
			v.Set(reflect.ValueOf(mat.NewSymDense(4, e)))
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem(), n)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() { // others a package sets for itself, in the reader
				fill(t, v.Field(i), n)
			}
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(t, v.Index(0), n)
		fill(t, v.Index(1), n)
	case reflect.Array:
		for i := range v.Len() {
			fill(t, v.Index(i), n)
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range 2 {
			key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			fill(t, key, n)
			fill(t, value, n)
			v.SetMapIndex(key, value)
		}
	case reflect.Float64:
		v.SetFloat(1 / float64(*n)) // no short decimal
	case reflect.Int:
		v.SetInt(int64(*n))
	case reflect.String:
		v.SetString(fmt.Sprintf("word <%d> \u00e9", *n))
	case reflect.Bool:
		v.SetBool(true)
	default:
		t.Fatalf("fill: teach this test about %v", v.Type())
	}
}

func filledGiven(t *testing.T) (g pipeline.Given) {
	n := 0
	fill(t, reflect.ValueOf(&g).Elem(), &n)
	return g
}

// through sends g and task over and back.
func through(t *testing.T, g pipeline.Given, task pipeline.Task) (pipeline.Given, pipeline.Task) {
	t.Helper()
	data, err := json.Marshal(newOrder(g, task))
	if err != nil {
		t.Fatal(err)
	}
	var o order
	if err := json.Unmarshal(data, &o); err != nil {
		t.Fatal(err)
	}
	return o.given(), o.Task
}

func TestWireKeepsEverything(t *testing.T) {
	var task pipeline.Task
	n := 1000
	fill(t, reflect.ValueOf(&task).Elem(), &n)
	given := filledGiven(t)
	if g, got := through(t, given, task); !reflect.DeepEqual(g, given) || !reflect.DeepEqual(got, task) {
		t.Errorf("sent\n%+v\n%+v\ncame\n%+v\n%+v", given, task, g, got)
	}
	var none pipeline.Given
	if g, _ := through(t, none, pipeline.Task{}); !reflect.DeepEqual(g, none) {
		t.Errorf("nothing became %+v", g)
	}
}

func TestWireOpenLimits(t *testing.T) {
	for _, l := range []clearance.Limits{{Lo: math.Inf(-1), Hi: 0.07}, {Lo: 0.02, Hi: math.Inf(1)}, {Lo: 0, Hi: 0.05}} {
		given := pipeline.Given{Limits: pipeline.Limits{New: &l}}
		if g, _ := through(t, given, pipeline.Task{}); !reflect.DeepEqual(g, given) {
			t.Errorf("%+v became %+v", l, g.Limits.New)
		}
	}
}
