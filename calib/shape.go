package calib

// Polygon is a filled black area of a drawing: the even-odd inside of its rings,
// in card millimetres. Curves are flattened to within 0.5 um.
type Polygon struct{ Rings [][]CardPoint }
