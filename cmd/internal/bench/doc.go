// Package bench is the page at the workbench: a server that shows a build to phones
// on the same network, takes photos from them, has them read and keeps what is
// accepted in the build folder. Everything it serves is embedded; it asks nothing
// of any other computer.
//
// A photo is stranger's bytes until it was read: here it is only weighed and
// hashed. Decoding and vision run in the reader it is given (package worker).
package bench
