// Package worker reads photos in processes of their own. Decoding and vision run
// in native code, which a photo made to harm, or a plain fault, can bring down; a
// reader that dies, hangs or asks for too much memory then takes one photo with
// it, and not the batch or the server.
//
// A Pool starts readers, hands each one task at a time and replaces those that
// died. Serve is the other side: the loop of a reader. Both are the same program.
// What a reader gives is what pipeline.Reader gives, unchanged.
package worker
