// Package quantity knows numbers with units and how sure they are: parsing and
// printing lengths, standard and expanded uncertainty after JCGM 100:2008 (the
// GUM), and whether two printed figures agree.
//
// Lengths are float64 in millimetres, areas in square millimetres, torques in
// newton metres and temperatures in degrees Celsius; text always carries its
// unit. The package knows nothing of strips, bearings or photos.
package quantity
