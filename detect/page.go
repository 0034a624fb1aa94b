package detect

// pageSum takes one step of a one-sided cumulative sum: what is over the allowance adds up, and the sum never falls below
// nothing (Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115).
func pageSum(sum, step, allowance float64) float64 { return max(sum+step-allowance, 0) }
