package calib

import "math"

// PixelPoint is a place in a photo. Pixel (0,0) is the centre of the top-left
// pixel, x runs right and y runs down.
type PixelPoint struct{ X, Y float64 }

// CardPoint is a place on the plane of the card's face in millimetres. The
// origin is the card's centre, x runs right along the long side and y runs up.
type CardPoint struct{ X, Y float64 }

// SpacePoint is a place in the card frame in millimetres: x and y as for
// CardPoint, z out of the card towards the camera.
type SpacePoint struct{ X, Y, Z float64 }

// Sub returns the vector from q to p.
func (p PixelPoint) Sub(q PixelPoint) PixelPoint { return PixelPoint{p.X - q.X, p.Y - q.Y} }

// Add returns p moved by q.
func (p PixelPoint) Add(q PixelPoint) PixelPoint { return PixelPoint{p.X + q.X, p.Y + q.Y} }

// Scale returns p with both coordinates multiplied by s.
func (p PixelPoint) Scale(s float64) PixelPoint { return PixelPoint{p.X * s, p.Y * s} }

// Norm returns the length of p taken as a vector.
func (p PixelPoint) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Sub returns the vector from q to p.
func (p CardPoint) Sub(q CardPoint) CardPoint { return CardPoint{p.X - q.X, p.Y - q.Y} }

// Add returns p moved by q.
func (p CardPoint) Add(q CardPoint) CardPoint { return CardPoint{p.X + q.X, p.Y + q.Y} }

// Scale returns p with both coordinates multiplied by s.
func (p CardPoint) Scale(s float64) CardPoint { return CardPoint{p.X * s, p.Y * s} }

// Norm returns the length of p taken as a vector.
func (p CardPoint) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Dot returns the scalar product of p and q taken as vectors.
func (p CardPoint) Dot(q CardPoint) float64 { return p.X*q.X + p.Y*q.Y }

// At returns the point of space above p at height z.
func (p CardPoint) At(z float64) SpacePoint { return SpacePoint{p.X, p.Y, z} }
