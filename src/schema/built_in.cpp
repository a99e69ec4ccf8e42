#include "schema/built_in.hpp"

#include <iterator>

namespace tramlog {
namespace {

// Files may be longer than the 64 KiB that every compiler must take; those that build this take more.
#ifdef __clang__
#pragma clang diagnostic ignored "-Woverlength-strings"
#endif

constexpr BuiltInFile kFiles[] = {
#include "schema/built_in_files.inc"
    {"", ""},  // the folder may be empty, an array may not
};

}  // namespace

std::span<const BuiltInFile> built_in_files() {
  return {kFiles, std::size(kFiles) - 1};
}

}  // namespace tramlog
