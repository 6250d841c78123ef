# Some tests look at what is inside contrast.
target_include_directories(test-run PRIVATE ${PROJECT_SOURCE_DIR}/lib/src)
