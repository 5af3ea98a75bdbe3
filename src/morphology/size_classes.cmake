# Turns refs/iso945_size_classes.csv (FROM) into a C table (TO), so that there is one copy of the
# values: the lower limit of each class, from class 1 on.
file(STRINGS "${FROM}" rows REGEX "^[1-8],[0-9]")
set(entries "")
set(expected 1)
foreach(row IN LISTS rows)
  if(NOT row MATCHES "^([1-8]),([0-9.]+),")
    message(FATAL_ERROR "${FROM}: cannot be read: ${row}")
  endif()
  if(NOT CMAKE_MATCH_1 EQUAL expected)
    message(FATAL_ERROR "${FROM}: class ${expected} is missing")
  endif()
  string(APPEND entries "    ${CMAKE_MATCH_2},\n")
  math(EXPR expected "${expected} + 1")
endforeach()
if(NOT expected EQUAL 9)
  message(FATAL_ERROR "${FROM}: not eight classes")
endif()
file(WRITE "${TO}" "/* Made from refs/iso945_size_classes.csv; um, class 1 first. */
#include \"morphology_priv.h\"

const double kb_morphology_size_um[KB_SIZE_CLASSES] = {
${entries}};
")
