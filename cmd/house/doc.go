// Package house holds the tests that guard how this repository is built: which
// way its arrows run, that detect stays pure, that nothing hides state, that
// everything exported explains itself, and that no part grows a tail.
//
// It has no code to call and promises nothing to other packages. Each rule is
// a function over the parsed tree, and each is shown to fail on a bad snippet
// before it is trusted with the whole. A rule that is wrong is changed here,
// with the reason beside it; there is no way to exempt a single place.
package house
