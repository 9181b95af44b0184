package report

// recordCautions stand in every record, as in README.
var recordCautions = []string{
	"The engine maker's manual comes first: its limits, its torques, its way of measuring. Where it asks for a bore gauge and a micrometer, use them.",
	"Torque-to-yield bolts are used once. Do not spend the final set on measuring.",
	"Cleaning agents burn, and hurt skin and lungs: no flame, gloves on, room aired.",
	"Keep to the rules of your place for waste oil, solvents and work on vehicles.",
}

// recordLastLook is what is left to do once every strip is read.
var recordLastLook = []string{
	"Every trace of strip is taken off shells and journals",
	"Oil holes are free, shells seated with their tangs in place",
	"Each cap is on its own rod or housing and the right way round",
	"Shells, journals and bolts are oiled as the maker's manual says",
	"The shaft turns freely after each cap is tightened",
}
