package views

// SetBatch changes how many entries one transaction takes in.
func SetBatch(n int) { batchEntries = n }
