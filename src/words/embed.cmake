# Puts a table of phrases (FROM) into a C file (TO) byte by byte, as NAME and NAME_size.
file(READ "${FROM}" bytes HEX)
if(bytes STREQUAL "")
  message(FATAL_ERROR "${FROM} is empty")
endif()
string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
file(WRITE "${TO}" "/* Made from ${NAME} of src/words. */
#include \"words_priv.h\"

const unsigned char ${NAME}[] = {${bytes}};
const size_t ${NAME}_size = sizeof ${NAME};
")
