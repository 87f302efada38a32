"""What is said to people: reasons from the science as sentences, in plain workshop English."""
